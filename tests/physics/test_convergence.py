"""The kernel against itself with a ten times and a hundred times smaller step error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from lifts import setting_of

from homing.kernel.layout import RESULT_COLUMNS
from homing.simulate import run_block

LIFTS = 200
STOP, OVERTRAVEL, SLACK = (RESULT_COLUMNS.index(n) for n in ("stop_distance_m", "overtravel_m", "slack_m"))
DISCRETE = [RESULT_COLUMNS.index(name) for name in ("ended", "reason", "ticks")]


def results(kind: str, error_share: float) -> np.ndarray:
    return run_block(replace(setting_of(kind), error_share=error_share), np.arange(LIFTS))


@pytest.fixture(scope="module")
def steps() -> dict[float, np.ndarray]:
    return {share: results("built-in", share) for share in (1.0, 0.1, 0.01)}


def unflipped(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Runs in which no decision changed: they ended alike after as many loops."""
    return np.all(a[:, DISCRETE] == b[:, DISCRETE], axis=1)


def test_few_runs_decide_otherwise_with_smaller_steps(steps: dict[float, np.ndarray]) -> None:
    assert np.mean(~unflipped(steps[1.0], steps[0.1])) <= 0.02


@pytest.mark.parametrize(
    ("column", "median_mm", "p95_mm"), [(STOP, 0.005, 0.03), (OVERTRAVEL, 0.005, 0.03), (SLACK, 0.005, 0.05)]
)
def test_smaller_steps_change_results_by_less_than_the_goal(
    steps: dict[float, np.ndarray], column: int, median_mm: float, p95_mm: float
) -> None:
    kept = unflipped(steps[1.0], steps[0.01])
    change_mm = 1000 * np.abs(steps[1.0][kept, column] - steps[0.01][kept, column])
    assert np.nanmedian(change_mm) <= median_mm
    assert np.nanquantile(change_mm, 0.95) <= p95_mm


def test_error_falls_with_the_step_error(steps: dict[float, np.ndarray]) -> None:
    # third-order steps: a tenth of the error per step is about half the step, and the same share in the end
    kept = unflipped(steps[1.0], steps[0.01]) & unflipped(steps[0.1], steps[0.01])
    coarse, fine = (np.abs(steps[share][kept, STOP] - steps[0.01][kept, STOP]) for share in (1.0, 0.1))
    assert np.nanmedian(fine) < 0.4 * np.nanmedian(coarse)


def test_same_call_same_bytes() -> None:
    np.testing.assert_array_equal(results("string", 1.0), results("string", 1.0))
