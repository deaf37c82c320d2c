"""What the search may move, and how a point becomes settings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from tuningcases import example_text, lift_of

from homing.liftfile import Lift
from homing.tuning.knob import CREEP, FAST, Knob, point_of, settings_at
from homing.tuning.knobs import knobs

LIFT = lift_of(example_text())
OWN = knobs(LIFT)
points = st.lists(st.floats(0.0, 1.0), min_size=len(OWN), max_size=len(OWN)).map(np.array)


@given(points)
def test_every_point_is_a_lift_that_can_be(point: np.ndarray) -> None:
    settings = settings_at(OWN, point)
    assert settings[CREEP] <= settings[FAST]
    assert settings[FAST] <= LIFT.drive.free_speed_mm_s
    assert settings["agree_readings"] == int(settings["agree_readings"]) >= 2
    for knob in OWN:
        assert knob.low - knob.step <= settings[knob.key] <= knob.high + knob.step
        assert settings[knob.key] > 0.0
        assert abs(settings[knob.key] / knob.step - round(settings[knob.key] / knob.step)) < 1e-6


@given(points)
def test_settings_and_points_go_both_ways(point: np.ndarray) -> None:
    settings = settings_at(OWN, point)
    again = settings_at(OWN, point_of(OWN, settings))
    for knob in OWN:
        # a setting rounded out of its range comes back at its end
        assert abs(again[knob.key] - settings[knob.key]) <= knob.step


def test_settings_outside_the_range_start_at_its_end() -> None:
    settings = {**settings_at(OWN, np.full(len(OWN), 0.5)), "back_off_mm": 90.0, "settle_ms": 1.0}
    point = dict(zip([knob.key for knob in OWN], point_of(OWN, settings), strict=True))
    assert point["back_off_mm"] == 1.0
    assert point["settle_ms"] == 0.0


def test_the_slow_zone_is_searched_only_where_a_height_is_known() -> None:
    def keys(lift: Lift) -> list[str]:
        return [knob.key for knob in knobs(lift)]

    assert "slow_zone_mm" not in keys(LIFT)
    assert "slow_zone_mm" in keys(LIFT.replace({"routine.referenced_at_start": True}))


def test_guards_are_never_searched_but_the_answer_of_a_stall_is() -> None:
    def names(own: Sequence[Knob]) -> set[str]:
        return {knob.key for knob in own}

    assert not names(OWN) & {"timeout_s", "travel_guard_mm", "no_motion_ms"}
    text = example_text().split("[[sensor]]")[0] + '[[sensor]]\nname = "stop"\nkind = "stall"\n'
    text += "[routine]\nfast_speed_mm_s = 60\n"
    assert names(knobs(lift_of(text))) - names(OWN) == {"no_motion_ms"}
