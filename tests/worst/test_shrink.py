"""Shrinking: fewest coordinates, least departures, still failing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from homing.worst.shrink import GIVEN_UP, HALVINGS, shrink

NOMINAL = np.full(6, 0.5)
SMOOTH = np.zeros(6, dtype=bool)


def test_sets_back_what_does_not_matter_and_moves_the_rest_to_the_edge() -> None:
    # fails where the third coordinate is above 0.8 and the fifth below 0.3
    found = shrink(
        lambda u: max(0.8 - u[2], u[4] - 0.3), np.array([0.1, 0.9, 0.95, 0.2, 0.05, 0.7]), NOMINAL, SMOOTH
    )
    assert np.flatnonzero(found.point != NOMINAL).tolist() == [2, 4]
    assert found.margin < 0.0
    # halving ten times leaves a thousandth of the departure
    assert found.point[2] == pytest.approx(0.8, abs=0.45 / 2**HALVINGS)
    assert found.point[4] == pytest.approx(0.3, abs=0.45 / 2**HALVINGS)


def test_a_choice_is_kept_or_set_back_but_never_moved() -> None:
    discrete = np.array([True, False, False, False, False, False])
    found = shrink(lambda u: -1.0 if u[0] > 0.6 else 1.0, np.full(6, 0.9), NOMINAL, discrete)
    assert found.point[0] == 0.9
    assert np.array_equal(found.point[1:], NOMINAL[1:])


def test_without_a_failing_run_it_keeps_close_to_the_least_margin() -> None:
    found = shrink(lambda u: 1.0 - u[0] + 0.001 * (1.0 - u[1]), np.full(6, 0.9), NOMINAL, SMOOTH)
    least, nominal = 0.1 + 0.0001, 0.5 + 0.0005
    assert found.margin <= least + GIVEN_UP * (nominal - least)
    assert np.flatnonzero(found.point != NOMINAL).tolist() == [0]


def test_a_nominal_run_that_fails_needs_no_departure() -> None:
    found = shrink(lambda u: -1.0, np.full(6, 0.9), NOMINAL, SMOOTH)
    assert np.array_equal(found.point, NOMINAL)


def test_sets_one_back_where_the_others_can_make_up_for_it() -> None:
    # three together, but any two of them are enough if they go further
    found = shrink(
        lambda u: 1.3 - u[:3].sum() + 0.5, np.array([0.63, 0.63, 0.63, 0.5, 0.5, 0.5]), NOMINAL, SMOOTH
    )
    assert np.sum(found.point != NOMINAL) == 1
    assert found.margin < 0.0


def test_ctrl_c_leaves_what_was_shrunk_so_far() -> None:
    runs = 0

    def margin(u: np.ndarray) -> float:
        nonlocal runs
        runs += 1
        if runs == 9:
            raise KeyboardInterrupt
        return 0.8 - u[2]

    found = shrink(margin, np.full(6, 0.9), NOMINAL, SMOOTH)
    assert found.interrupted
    assert found.margin == 0.8 - found.point[2] < 0.0
    assert 1 <= np.sum(found.point != NOMINAL) < 6


@given(st.lists(st.floats(0.0, 1.0), min_size=6, max_size=6), st.integers(0, 2**16))
def test_what_failed_still_fails_and_is_no_farther_from_nominal(start: list[float], seed: int) -> None:
    weights = np.random.default_rng(seed).normal(size=6)
    worst = np.array(start)
    level = float(weights @ (worst - NOMINAL)) - 0.01

    def margin(u: np.ndarray) -> float:
        return level - float(weights @ (u - NOMINAL))

    found = shrink(margin, worst, NOMINAL, SMOOTH)
    assert margin(found.point) == found.margin < 0.0
    fewer = np.sum(found.point != NOMINAL) < np.sum(worst != NOMINAL)
    assert fewer or (np.abs(found.point - NOMINAL) <= np.abs(worst - NOMINAL)).all()
