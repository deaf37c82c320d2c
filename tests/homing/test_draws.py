"""What is drawn for a run: tolerances, sway, starts; from seed and run number alone."""

from __future__ import annotations

import numpy as np
import pytest
from liftfiles import lift_with

from homing.draws import JUST_ABOVE_M, Draws, Start, draw, start_heights
from homing.liftfile import Lift

MANY = 7000
INDICES = np.arange(MANY, dtype=np.int64)


def test_every_tolerance_is_drawn_evenly_between_its_bounds(example: Lift) -> None:
    values = draw(example, 1, INDICES).values
    for tolerance in example.tolerances:
        if tolerance.key == "sensor.bottom.gap_mm":
            continue  # sway moves it as well
        share = (values[tolerance.key] - tolerance.low) / (tolerance.high - tolerance.low)
        assert 0.0 < share.min() < 0.002, tolerance.key
        assert 0.998 < share.max() < 1.0, tolerance.key
        # a uniform has standard deviation 1/sqrt(12); four standard errors of its mean
        assert share.mean() == pytest.approx(0.5, abs=4.0 / np.sqrt(12 * MANY)), tolerance.key


def test_what_has_no_tolerance_is_not_drawn(example: Lift) -> None:
    drawn = set(draw(example, 1, INDICES[:1]).values)
    swayed = {"sensor.bottom.gap_mm", "sensor.bottom.side_offset_mm"}
    assert drawn == {tolerance.key for tolerance in example.tolerances} | swayed


def test_a_run_is_drawn_the_same_wherever_it_stands(example: Lift) -> None:
    many, alone = draw(example, 5, INDICES), draw(example, 5, np.array([4321]))
    for key, value in alone.values.items():
        assert value[0] == many.values[key][4321]
    assert alone.start_kind[0] == many.start_kind[4321]
    assert alone.start_share[0] == many.start_share[4321]
    assert alone.count_phase[0] == many.count_phase[4321]


def test_another_seed_draws_other_numbers(example: Lift) -> None:
    first, second = draw(example, 1, INDICES), draw(example, 2, INDICES)
    assert not np.any(first.values["lift.friction_n"] == second.values["lift.friction_n"])


def test_tolerances_are_drawn_independently(example: Lift) -> None:
    values = draw(example, 1, INDICES).values
    table = np.corrcoef([values[key] for key in sorted(values)])
    table -= np.eye(len(table))
    # gap is moved by sway and by its tolerance, side offset by sway alone: still nothing in common
    assert np.abs(table).max() < 4.0 / np.sqrt(MANY)


def test_all_seven_starts_are_equally_likely(example: Lift) -> None:
    counts = np.bincount(draw(example, 1, INDICES).start_kind, minlength=len(Start))
    assert len(counts) == 7
    each = MANY / 7
    assert np.abs(counts - each).max() < 4.0 * np.sqrt(each * 6 / 7)


def test_sway_moves_the_gap_by_as_much_as_the_play_either_way() -> None:
    lift = lift_with({"lift.sway_mm": 0.5, "sensor.gap_mm": 3.0})
    values = draw(lift, 1, INDICES).values
    gap, side = values["sensor.bottom.gap_mm"], values["sensor.bottom.side_offset_mm"]
    assert (gap.min(), gap.max()) == (pytest.approx(2.5, abs=1e-3), pytest.approx(3.5, abs=1e-3))
    assert (side.min(), side.max()) == (pytest.approx(-0.5, abs=1e-3), pytest.approx(0.5, abs=1e-3))


def test_sway_comes_on_top_of_the_gaps_own_tolerance() -> None:
    lift = lift_with({"lift.sway_mm": 0.5, "sensor.gap_mm": 3.0, "tolerances": {"sensor.bottom.gap_mm": 1.0}})
    gap = draw(lift, 1, INDICES).values["sensor.bottom.gap_mm"]
    assert gap.min() == pytest.approx(1.5, abs=0.06)
    assert gap.max() == pytest.approx(4.5, abs=0.06)


def test_a_target_cannot_come_closer_than_touching() -> None:
    lift = lift_with({"lift.sway_mm": 2.0, "sensor.gap_mm": 0.5})
    gap = draw(lift, 1, INDICES).values["sensor.bottom.gap_mm"]
    assert gap.min() == 0.0
    assert gap.max() > 2.4


def test_a_sensor_without_a_gap_has_none_drawn() -> None:
    lift = lift_with({"sensor": [{"kind": "contact", "mount_mm": 20}], "lift.sway_mm": 1.0})
    assert not [key for key in draw(lift, 1, INDICES).values if "gap" in key or "side" in key]


def test_start_heights_by_hand() -> None:
    # travel 400 mm, window 10 to 30 mm, every place a quarter of the way through its range
    draws = Draws({}, np.arange(7), np.full(7, 0.25), np.zeros(7))
    heights = start_heights(draws, 0.2, 0.4, np.full(7, 0.03), np.full(7, 0.01))
    by_kind = dict(zip(Start, heights.tolist(), strict=True))
    assert by_kind == {
        Start.NOMINAL: 0.2,
        Start.AT_STOP: 0.0,
        Start.BELOW_WINDOW: pytest.approx(0.0025),
        Start.INSIDE_WINDOW: pytest.approx(0.015),
        Start.ABOVE_WINDOW: pytest.approx(0.03 + 0.25 * JUST_ABOVE_M),
        Start.ANYWHERE: pytest.approx(0.1),
        Start.AT_TOP: 0.4,
    }


def test_no_start_lies_off_the_travel() -> None:
    # a window that reaches below the stop and a trip just under the upper stop
    draws = Draws({}, np.arange(7), np.full(7, 0.99), np.zeros(7))
    heights = start_heights(draws, 0.2, 0.4, np.full(7, 0.39), np.full(7, -np.inf))
    assert heights.min() >= 0.0
    assert heights.max() <= 0.4
    assert heights[Start.BELOW_WINDOW] == 0.0  # there is no place below such a window but the stop


def test_starts_have_plain_words() -> None:
    assert [start.words for start in Start] == [
        "nominal",
        "at stop",
        "below window",
        "inside window",
        "above window",
        "anywhere",
        "at top",
    ]
