"""Tolerance stacks against a worked example, read from its data file (see ``published_values``)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from published_values import cases, check_origin, files

from homing.compare.responses import stack


@pytest.mark.parametrize("path", files("tolerances"), ids=lambda path: path.stem)
def test_every_file_says_where_its_numbers_come_from(path: Path) -> None:
    check_origin(path)


@pytest.mark.parametrize(("value", "tolerances"), cases("tolerances"))
def test_stacks_are_those_of_the_worked_example(value: dict[str, Any], tolerances: dict[str, float]) -> None:
    halves = value["inputs"]["half_widths_mm"]
    worst, likely = stack(halves)
    drawn = np.random.default_rng(2).uniform(-1.0, 1.0, (400_000, len(halves))) @ np.array(halves)
    found = {"worst_case_mm": worst, "rss_mm": likely, "uniform_sd_mm": float(drawn.std())}
    assert found[value["quantity"]] == pytest.approx(value["expected"], abs=tolerances["tolerance"])
