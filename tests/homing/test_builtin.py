"""The built-in sequence: what it is made of, and where it leads on a lift drawn with a ruler."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from routines import PLAIN, TABLE, routine
from walks import Loop, walk

from homing.builtin import (
    EDGE_ROOM_M,
    FIRST_LOOK_S,
    LOOK_LIMIT_M,
    STAND_LIMIT_M,
    STEADY_WITHIN_S,
    WRONG_WAY_M,
)
from homing.kernel.codes import Condition, Order, Reason
from homing.routine import Role

START = ["waiting", "checking"]
EDGE = ["backing_off", "creeping", "settling"]
AGAIN = ["leaving_again", "creeping_again", "settling_again"]
END = [*EDGE, *AGAIN, "zeroed"]


def test_phases_by_name_and_order() -> None:
    names = [phase.name for phase in TABLE.phases]
    approach = ["lifting", "coming_in", "easing_in", "stopping"]
    assert names == [*START, *approach, *EDGE, *AGAIN, "zeroed", "faulted"]
    assert [phase.name for phase in routine(recheck=False).phases] == [
        name for name in names if name not in AGAIN
    ]


def test_commands_follow_the_settings() -> None:
    command = {phase.name: phase.command for phase in TABLE.phases}
    assert command["coming_in"].value == -PLAIN.fast_m_s
    for name in ("easing_in", "creeping", "creeping_again"):
        assert command[name].value == -PLAIN.creep_m_s
    for name in ("lifting", "backing_off", "leaving_again"):
        assert command[name].value == PLAIN.creep_m_s
    assert {p.command.order for p in TABLE.phases if p.role in (Role.START, Role.STOPPED, Role.ZEROED)} == {
        PLAIN.stop
    }
    assert command["faulted"].order is PLAIN.when_off


@pytest.mark.parametrize("stop", [Order.HOLD, Order.SHORTED, Order.OPEN])
def test_stops_are_as_asked(stop: Order) -> None:
    assert routine(stop=stop).phase("stopping").command.order is stop


@pytest.mark.parametrize(
    ("name", "kind", "value"),
    [
        ("readings_agree", Condition.MADE_RUN, PLAIN.agree_readings),
        ("readings_agree_not_made", Condition.CLEAR_RUN, PLAIN.agree_readings),
        ("clear_by_margin", Condition.CLEAR_BY, PLAIN.back_off_m),
        ("standstill", Condition.STANDSTILL, PLAIN.settle_s),
        ("looked_long_enough", Condition.TIMER_OVER, FIRST_LOOK_S),
        ("never_steady", Condition.TIMER_OVER, STEADY_WITHIN_S),
        ("time_over", Condition.TIMER_OVER, PLAIN.timeout_s),
        ("past_travel_guard", Condition.MOVED, PLAIN.travel_guard_m),
        ("moved_while_standing", Condition.MOVED, STAND_LIMIT_M),
        ("moved_while_looking", Condition.MOVED, LOOK_LIMIT_M),
        ("lifted_far_enough", Condition.MOVED_OUT, PLAIN.first_lift_m),
        ("left_too_far", Condition.MOVED_OUT, PLAIN.leave_limit_m),
        ("crept_too_far", Condition.MOVED, PLAIN.back_off_m + PLAIN.edge_spread_m + EDGE_ROOM_M),
        ("not_moving", Condition.NOT_MOVING, PLAIN.no_motion_s),
        ("wrong_way", Condition.WRONG_WAY, WRONG_WAY_M),
        ("in_slow_zone", Condition.BELOW, PLAIN.slow_zone_m),
        ("below_sensor", Condition.BELOW, PLAIN.seen_above_m),
        ("above_trip_zone", Condition.ABOVE, PLAIN.made_below_m),
        ("counts_jumped", Condition.JUMPED, PLAIN.possible_speed_m_s),
        ("retries_used", Condition.RETRIES_USED, PLAIN.retries),
        ("edges_agree", Condition.EDGES_AGREE, PLAIN.recheck_tolerance_m),
    ],
)
def test_conditions_follow_the_settings(name: str, kind: Condition, value: float) -> None:
    ask = TABLE.condition(name)
    assert (ask.kind, ask.a) == (kind, value)


def test_every_row_and_phase_says_why() -> None:
    assert all(row.why for row in TABLE.rows)
    assert all(phase.why for phase in TABLE.phases)
    assert {ask.name for ask in TABLE.conditions} == {
        name for row in TABLE.rows for name in (*row.when, *row.unless)
    }


@pytest.mark.parametrize(
    ("start_m", "window_m", "referenced", "path"),
    [
        pytest.param(0.4, (-1.0, 0.03), False, ["lifting", "coming_in", "stopping", *END], id="from above"),
        pytest.param(0.02, (-1.0, 0.03), False, END, id="on the sensor"),
        pytest.param(0.02, (-1.0, 0.03), True, END, id="on the sensor, referenced"),
        pytest.param(0.0, (0.01, 0.03), False, ["lifting", *END], id="target past the sensor"),
        pytest.param(0.64, (-1.0, 0.03), False, ["lifting", "coming_in", "stopping", *END], id="at the top"),
        pytest.param(
            0.4, (-1.0, 0.03), True, ["coming_in", "easing_in", "stopping", *END], id="from above, referenced"
        ),
        pytest.param(
            0.05, (-1.0, 0.03), True, ["coming_in", "easing_in", "stopping", *END], id="near, referenced"
        ),
    ],
)
def test_it_zeroes_by_the_way_that_fits_its_start(
    start_m: float, window_m: tuple[float, float], referenced: bool, path: list[str]
) -> None:
    walked = walk(TABLE, start_m, window_m=window_m, referenced=referenced)
    assert walked.phases == [*START, *path]
    # two edges found at 30 mm/s with loops of 20 ms: midway, hence within half a loop's 0.6 mm
    assert abs(walked.memory.zero_counts - 300) <= 3.0


def test_without_a_second_look_it_zeroes_at_the_first_edge() -> None:
    walked = walk(routine(recheck=False), 0.4)
    assert walked.phases == [*START, "lifting", "coming_in", "stopping", *EDGE, "zeroed"]


def test_a_flicker_on_the_way_out_is_not_taken_for_the_sensor() -> None:
    def flicker(loop: Loop) -> None:
        loop.made |= int(loop.phase == "lifting" and 0.41 < loop.height_m <= 0.4106)

    assert walk(TABLE, 0.4, alter=flicker).phases[:4] == [*START, "lifting", "coming_in"]


def test_a_flicker_on_the_way_in_costs_a_retry_only() -> None:
    def flicker(loop: Loop) -> None:
        loop.made |= int(loop.phase == "coming_in" and "stopping" not in loop.visits and loop.height_m < 0.3)

    search = ["lifting", "coming_in", "stopping"]
    walked = walk(TABLE, 0.4, alter=flicker)
    assert walked.phases == [*START, *search, *search, *END]
    assert walked.memory.retries == 1


def test_an_edge_read_across_an_overlong_loop_is_approached_again() -> None:
    def late(loop: Loop) -> None:
        if loop.phase == "creeping" and loop.visits["creeping"] == 1 and loop.height_m < 0.0315:
            loop.next_s = 0.1

    walked = walk(TABLE, 0.4, alter=late)
    assert walked.phases == [*START, "lifting", "coming_in", "stopping", *EDGE, *END]


def test_edges_apart_are_found_again_and_the_newest_two_compared() -> None:
    def slip(loop: Loop) -> None:
        # 3 mm slip of the hub while it leaves the sensor for the first check
        loop.counts += 30 * int(loop.visits.get("creeping_again", 0) > 0)

    walked = walk(TABLE, 0.4, alter=slip)
    assert walked.phases == [*START, "lifting", "coming_in", "stopping", *EDGE, *AGAIN, *AGAIN, "zeroed"]
    assert walked.memory.retries == 1


def _stuck_in(phase: str, made: int) -> Callable[[Loop], None]:
    def alter(loop: Loop) -> None:
        if loop.phase == phase:
            loop.made = made

    return alter


def _alternating(phase: str) -> Callable[[Loop], None]:
    def alter(loop: Loop) -> None:
        if loop.phase == phase:
            loop.made = round(loop.time_s * 50) % 2

    return alter


def _always_late_at_the_edge(loop: Loop) -> None:
    if loop.phase == "creeping" and loop.height_m < 0.0315:
        loop.next_s = 0.1


def _slips_each_time(loop: Loop) -> None:
    loop.counts += 30 * loop.visits.get("creeping_again", 0)


def _moving_on_in(phase: str, counts_per_s: float) -> Callable[[Loop], None]:
    """Counts go on at this rate from where they were when the phase began."""
    began: dict[str, tuple[float, int]] = {}

    def alter(loop: Loop) -> None:
        if loop.phase != phase:
            began.clear()
            return
        time_s, counts = began.setdefault(phase, (loop.time_s, loop.counts))
        loop.counts = counts + round(counts_per_s * (loop.time_s - time_s))

    return alter


@dataclass(frozen=True)
class Wrong:
    """A lift with something wrong, and the phase from which it faults."""

    left: str
    alter: Callable[[Loop], None]
    start_m: float = 0.4
    referenced: bool = False
    trip_m: float = 0.03


WRONG = {
    Reason.MADE_TOO_HIGH: Wrong("coming_in", _stuck_in("coming_in", 1), referenced=True),
    Reason.NEVER_STEADY: Wrong("checking", _alternating("checking")),
    Reason.TIME_OUT: Wrong("lifting", _moving_on_in("lifting", 30.0)),
    Reason.TRAVEL_GUARD: Wrong("coming_in", _moving_on_in("coming_in", -3600.0)),
    Reason.NOT_MOVING: Wrong("coming_in", _moving_on_in("coming_in", 0.0)),
    Reason.WRONG_WAY: Wrong("lifting", _moving_on_in("lifting", -300.0)),
    Reason.COUNTS_JUMPED: Wrong("coming_in", _moving_on_in("coming_in", -9000.0)),
    Reason.BELOW_SENSOR: Wrong("easing_in", _stuck_in("easing_in", 0), referenced=True),
    Reason.DOES_NOT_STOP: Wrong("stopping", _moving_on_in("stopping", -1000.0)),
    Reason.READING_LOST: Wrong("settling", _stuck_in("settling", 0)),
    Reason.NEVER_RELEASED: Wrong("backing_off", _stuck_in("backing_off", 1), start_m=0.02),
    Reason.NOT_FOUND_AGAIN: Wrong("creeping", _stuck_in("creeping", 0), trip_m=0.3),
    Reason.EDGE_NOT_TRUSTED: Wrong("settling", _always_late_at_the_edge),
    Reason.EDGES_DISAGREE: Wrong("settling_again", _slips_each_time),
}


def test_every_reason_of_the_table_has_its_example() -> None:
    assert set(WRONG) == {row.reason for row in TABLE.rows} - {Reason.NONE}


@pytest.mark.parametrize("reason", list(WRONG), ids=lambda reason: reason.name.lower())
def test_what_goes_wrong_is_told_by_its_reason(reason: Reason) -> None:
    wrong = WRONG[reason]
    walked = walk(
        TABLE,
        wrong.start_m,
        window_m=(-1.0, wrong.trip_m),
        referenced=wrong.referenced,
        alter=wrong.alter,
    )
    assert (walked.phases[-2:], walked.reason) == ([wrong.left, "faulted"], reason)
