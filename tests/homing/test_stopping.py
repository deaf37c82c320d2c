from __future__ import annotations

import math

import numpy as np
import pytest

from homing.results import BUDGET_PARTS
from homing.stopping import BUDGET_TERMS, fastest_speed_m_per_s, stop_distance_m


def test_every_part_of_the_budget_is_explained_in_order() -> None:
    assert tuple(term.part for term in BUDGET_TERMS) == BUDGET_PARTS


def test_fastest_speed_is_the_inverse() -> None:
    speed = np.linspace(0.0, 3.0, 31)
    room = stop_distance_m(speed, 0.04, 2.5)
    np.testing.assert_allclose(fastest_speed_m_per_s(room, 0.04, 2.5), speed, rtol=1e-12, atol=1e-15)


def test_ends_without_delay_or_without_braking() -> None:
    assert fastest_speed_m_per_s(0.1, 0.0, 5.0) == pytest.approx(1.0)
    assert fastest_speed_m_per_s(0.1, 0.2, math.inf) == pytest.approx(0.5)
    assert stop_distance_m(0.5, 0.2, math.inf) == pytest.approx(0.1)


def test_more_room_allows_more_speed() -> None:
    room = np.linspace(0.0, 0.1, 50)
    assert np.all(np.diff(fastest_speed_m_per_s(room, 0.03, 4.0)) > 0)


def test_small_room_loses_no_digits() -> None:
    # where the delay takes all the room the naive root subtracts two nearly equal numbers
    assert fastest_speed_m_per_s(1e-12, 1.0, 1.0) == pytest.approx(1e-12, rel=1e-9)
