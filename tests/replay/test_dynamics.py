"""Inverse dynamics on made-up drives: known numbers come back, what cannot be told is refused."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from replay.dynamics import cascade_voltage, fit_force, motion_of

Floats = NDArray[np.float64]
PERIOD_S = 1e-3
MASS_KG, VISCOUS, COULOMB_N, OFFSET_N = 3.0, 12.0, 5.0, -0.7


def to_and_fro(seconds: float = 12.0) -> tuple[Floats, Floats, Floats]:
    """Position, speed and acceleration of two sines: both directions, many speeds."""
    t = np.arange(0.0, seconds, PERIOD_S)
    parts = [(0.10, 2.0), (0.03, 5.3)]
    position = np.sum([a * np.sin(w * t) for a, w in parts], axis=0)
    speed = np.sum([a * w * np.cos(w * t) for a, w in parts], axis=0)
    acceleration = np.sum([-a * w * w * np.sin(w * t) for a, w in parts], axis=0)
    return position, speed, acceleration


def test_known_numbers_come_back() -> None:
    position, speed, acceleration = to_and_fro()
    force = MASS_KG * acceleration + VISCOUS * speed + COULOMB_N * np.sign(speed) + OFFSET_N
    noisy = force + 0.2 * np.random.default_rng(1).standard_normal(len(force))
    found = fit_force(position, noisy, PERIOD_S)
    true = np.array([MASS_KG, VISCOUS, COULOMB_N, OFFSET_N])
    # four standard errors: one miss in 4000 for each number, on one fixed seed
    assert np.all(np.abs(found.values - true) < 4.0 * found.std_errors + 1e-3 * np.abs(true))
    assert np.all(found.std_errors < 0.02 * np.abs(true) + 0.01)


def test_friction_of_its_own_in_each_direction() -> None:
    position, speed, acceleration = to_and_fro()
    rubbing = np.where(speed > 0, 4.0 + 10.0 * speed, -6.0 + 14.0 * speed)
    found = fit_force(position, MASS_KG * acceleration + rubbing, PERIOD_S, by_direction=True)
    np.testing.assert_allclose(found.values, [MASS_KG, 10.0, 4.0, 14.0, 6.0], rtol=0.01)


def test_smoothing_adds_no_lag() -> None:
    position, speed, _ = to_and_fro()
    smooth, _ = motion_of(position, PERIOD_S)
    middle = slice(200, -200)
    assert np.max(np.abs(smooth[middle] - speed[middle])) < 1e-4


def test_too_few_rows_are_refused() -> None:
    position, speed, _ = to_and_fro(0.3)
    with pytest.raises(ValueError, match="rows are too few"):
        fit_force(position, speed, PERIOD_S)


def test_a_drive_that_stands_tells_nothing() -> None:
    with pytest.raises(ValueError, match="does not tell the numbers apart"):
        fit_force(np.zeros(5000), np.zeros(5000), PERIOD_S)


def test_cascade_of_a_steady_move_is_the_gain_times_its_lag() -> None:
    position = np.asarray(0.2 * np.arange(100) * PERIOD_S, dtype=np.float64)
    sent = cascade_voltage(
        np.asarray(position + 1e-3, dtype=np.float64), position, PERIOD_S, kp_per_s=200.0, kv_v_s_per_m=10.0
    )
    np.testing.assert_allclose(sent[2:], 10.0 * (200.0 * 1e-3 - 0.2), atol=1e-12)
    assert np.isnan(sent[:2]).all()
