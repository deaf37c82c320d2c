"""What a `Log` promises, and that it refuses to be made otherwise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from logfiles import up_and_down, write

from replay import Log, Role, read_log


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return read_log(write(tmp_path, up_and_down().text()))


def test_arrays_cannot_be_written_to(log: Log) -> None:
    for array in (log.time_s, log.row, log.counts, log.starts):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1
    with pytest.raises(TypeError):
        log.values[Role.TARGET] = log.counts  # type: ignore[index]


@pytest.mark.parametrize(
    "change",
    [
        {"time_s": np.arange(399.0)},
        {"time_s": np.full(400, np.nan)},
        {"row": np.zeros(400, dtype=np.int64)},
        {"starts": np.array([0, 7])},
        {"values": {Role.COUNTS: np.zeros(3)}},
        {"values": {Role.COUNTS: np.zeros(400), Role.STATE: np.zeros(400)}},
    ],
)
def test_a_log_that_breaks_its_promises_cannot_be_made(log: Log, change: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        replace(log, **change)


def test_lengths_need_a_scale(log: Log) -> None:
    assert log.height_mm is None
    scaled = log.scaled(0.5)
    assert scaled.height_mm is not None
    np.testing.assert_array_equal(scaled.height_mm, log.counts * 0.5)
    assert scaled.scaled(0.7).mm_per_count == 0.5
    assert Role.COUNTS in log
    assert Role.SENSOR not in log
