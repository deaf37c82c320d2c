"""The built-in retract-and-zero sequence, written out for one lift's settings.

In words: look at the sensor while standing; if it is made, leave it; if it is not and nothing is
referenced, first move out (a lift that rests on its stop may have its target already past the
sensor, and would wind its string away unseen); come in fast, slowly once near if referenced; stop
on the first made reading; back off until it has let go and a margin more; approach slowly; stop,
stand, let readings agree; do it once more if asked; declare zero from the captured edge.
"""

from __future__ import annotations

from dataclasses import dataclass

from homing.kernel.codes import Condition, Effect, Order, Reason
from homing.routine import Ask, Command, Phase, Role, Row, Table

#: Time for the first look at the sensor, and how long it may take to become steady [s].
#: Common practice, no source: a few loops, and far longer than any contact burst.
FIRST_LOOK_S, STEADY_WITHIN_S = 0.1, 1.0
#: Movement while told to stand that counts as not stopping [m]; more than any braking distance here.
STAND_LIMIT_M = 0.15
#: Movement against the command that counts as wrong [m]; more than slack and stretch take up.
WRONG_WAY_M = 0.02
#: Retries of the edge and of a lost reading.
HOUR_S = 3600.0


@dataclass(frozen=True)
class Settings:
    """Settings of the built-in sequence in SI; speeds are positive."""

    fast_m_s: float
    creep_m_s: float
    slow_zone_m: float
    first_lift_m: float
    back_off_m: float
    leave_limit_m: float
    stop: Order
    when_off: Order
    settle_s: float
    agree_readings: int
    timeout_s: float
    travel_guard_m: float
    no_motion_s: float
    recheck: bool
    recheck_tolerance_m: float
    retries: int
    made_below_m: float
    seen_above_m: float
    possible_speed_m_s: float
    stall_sensor: bool = False


def builtin_table(settings: Settings) -> Table:
    """The built-in sequence as a table."""
    return Table(_phases(settings), _conditions(settings), tuple(_rows(settings)))


def _phases(s: Settings) -> tuple[Phase, ...]:
    stand = Command(s.stop)
    slow_out, slow_in = Command(Order.SPEED, s.creep_m_s), Command(Order.SPEED, -s.creep_m_s)
    return (
        Phase("waiting", Role.START, stand, "until a start is requested"),
        Phase("checking", Role.STOPPED, stand, "first look at the sensor, standing"),
        Phase("lifting", Role.MOVING, slow_out, "out, in case the target is already past the sensor"),
        Phase("coming_in", Role.MOVING, Command(Order.SPEED, -s.fast_m_s), "fast approach"),
        Phase("easing_in", Role.MOVING, slow_in, "slow zone once referenced"),
        Phase("stopping", Role.STOPPED, stand, "stop on the first made reading"),
        Phase("backing_off", Role.MOVING, slow_out, "out until the sensor has let go, and a margin"),
        Phase("creeping", Role.MOVING, slow_in, "slow approach to the edge"),
        Phase("settling", Role.STOPPED, stand, "stand still, let readings agree"),
        Phase("leaving_again", Role.MOVING, slow_out, "out again to check the edge"),
        Phase("creeping_again", Role.MOVING, slow_in, "slow approach once more"),
        Phase("settling_again", Role.STOPPED, stand, "stand still, compare both edges"),
        Phase("zeroed", Role.ZEROED, stand, "zero declared from the captured edge"),
        Phase("faulted", Role.FAULTED, Command(s.when_off), "stopped itself, reason kept; needs a person"),
    )


def _conditions(s: Settings) -> tuple[Ask, ...]:
    return (
        Ask("start_requested", Condition.START),
        Ask("made", Condition.MADE),
        Ask("readings_agree", Condition.MADE_RUN, float(s.agree_readings)),
        Ask("readings_agree_not_made", Condition.CLEAR_RUN, float(s.agree_readings)),
        Ask("clear_by_margin", Condition.CLEAR_BY, s.back_off_m),
        Ask("standstill", Condition.STANDSTILL, s.settle_s),
        Ask("looked_long_enough", Condition.TIMER_OVER, FIRST_LOOK_S),
        Ask("never_steady", Condition.TIMER_OVER, STEADY_WITHIN_S),
        Ask("time_over", Condition.TIMER_OVER, s.timeout_s),
        Ask("past_travel_guard", Condition.MOVED, s.travel_guard_m),
        Ask("moved_while_standing", Condition.MOVED, STAND_LIMIT_M),
        Ask("lifted_far_enough", Condition.MOVED_OUT, s.first_lift_m),
        Ask("left_too_far", Condition.MOVED_OUT, s.leave_limit_m),
        Ask("crept_too_far", Condition.MOVED, s.leave_limit_m + s.back_off_m),
        Ask("not_moving", Condition.NOT_MOVING, s.no_motion_s),
        Ask("wrong_way", Condition.WRONG_WAY, WRONG_WAY_M),
        Ask("referenced", Condition.REFERENCED),
        Ask("in_slow_zone", Condition.BELOW, s.slow_zone_m),
        Ask("below_sensor", Condition.BELOW, s.seen_above_m),
        Ask("above_trip_zone", Condition.ABOVE, s.made_below_m),
        Ask("counts_jumped", Condition.JUMPED, s.possible_speed_m_s),
        Ask("edge_not_trusted", Condition.EDGE_LONG_LOOP),
        Ask("retries_used", Condition.RETRIES_USED, float(s.retries)),
        Ask("edges_agree", Condition.EDGES_AGREE, s.recheck_tolerance_m),
    )


def _stop_because(source: str, when: str | tuple[str, ...], reason: Reason, why: str, unless: tuple[str, ...] = ()) -> Row:
    names = (when,) if isinstance(when, str) else when
    return Row(source, names, unless, "faulted", (), reason, why)


def _moving_guards(source: str, stall_sensor: bool, inwards: bool) -> list[Row]:
    """What every moving phase must have: time-out, travel guard, no motion, wrong way, count jump."""
    guards = [
        _stop_because(source, "counts_jumped", Reason.COUNTS_JUMPED, "the counts cannot be believed any more"),
        _stop_because(source, "wrong_way", Reason.WRONG_WAY, "drive, encoder or string is not what it should be"),
        _stop_because(source, "past_travel_guard", Reason.TRAVEL_GUARD, "the end must have come long before"),
        _stop_because(source, "time_over", Reason.TIME_OUT, "something hinders it"),
    ]
    if not (stall_sensor and inwards):
        guards.append(_stop_because(source, "not_moving", Reason.NOT_MOVING, "jammed, or the encoder is dead"))
    return guards


def _standing_guards(source: str) -> list[Row]:
    return [
        _stop_because(source, "counts_jumped", Reason.COUNTS_JUMPED, "the counts cannot be believed any more"),
        _stop_because(source, "moved_while_standing", Reason.DOES_NOT_STOP, "the stop does not hold the lift"),
    ]


def _rows(s: Settings) -> list[Row]:
    rows = [Row("waiting", ("start_requested",), (), "checking", why="a start was requested")]
    rows += _checking_rows()
    rows += _lifting_rows(s)
    rows += _approach_rows("coming_in", s)
    rows += _approach_rows("easing_in", s)
    rows += _stopping_rows()
    rows += _edge_rows("backing_off", "creeping", "settling", s)
    rows += _settling_rows(s)
    rows += _edge_rows("leaving_again", "creeping_again", "settling_again", s)
    rows += _settling_again_rows()
    return rows


def _checking_rows() -> list[Row]:
    source = "checking"
    return [
        *_standing_guards(source),
        _stop_because(
            source,
            ("looked_long_enough", "readings_agree", "above_trip_zone"),
            Reason.MADE_TOO_HIGH,
            "made where the target cannot be: the sensor is stuck or something else is in front of it",
        ),
        Row(source, ("looked_long_enough", "readings_agree"), (), "backing_off", why="already on the sensor: leave it"),
        Row(
            source,
            ("looked_long_enough", "readings_agree_not_made", "referenced"),
            (),
            "coming_in",
            why="height is known: come in",
        ),
        Row(
            source,
            ("looked_long_enough", "readings_agree_not_made"),
            (),
            "lifting",
            why="height unknown: the target may be below the sensor",
        ),
        _stop_because(source, "never_steady", Reason.NEVER_STEADY, "readings change while nothing moves"),
    ]


def _lifting_rows(s: Settings) -> list[Row]:
    source = "lifting"
    guards = [row for row in _moving_guards(source, s.stall_sensor, False) if row.reason is not Reason.NOT_MOVING]
    return [
        *guards,
        Row(source, ("made",), (), "backing_off", why="it was below the sensor: go on out until it lets go"),
        Row(source, ("lifted_far_enough",), (), "coming_in", why="surely above the sensor now"),
        Row(source, ("not_moving",), (), "coming_in", why="at the upper stop: above the sensor"),
    ]


def _approach_rows(source: str, s: Settings) -> list[Row]:
    rows = [
        *_moving_guards(source, s.stall_sensor, True),
        _stop_because(
            source,
            ("made", "above_trip_zone"),
            Reason.MADE_TOO_HIGH,
            "made where the target cannot be",
        ),
        Row(source, ("made",), (), "stopping", why="first made reading: stop at once"),
        _stop_because(
            source,
            ("referenced", "below_sensor"),
            Reason.BELOW_SENSOR,
            "the sensor should have been made by now",
        ),
    ]
    if source == "coming_in":
        rows.append(Row(source, ("referenced", "in_slow_zone"), (), "easing_in", why="near the end: slow"))
    return rows


def _stopping_rows() -> list[Row]:
    source = "stopping"
    return [
        *_standing_guards(source),
        Row(source, ("standstill", "made"), (), "backing_off", why="standing on the sensor: leave it"),
        _stop_because(source, ("standstill", "retries_used"), Reason.READING_LOST, "the reading does not last"),
        Row(
            source,
            ("standstill",),
            ("made", "retries_used"),
            "lifting",
            (Effect.COUNT_RETRY,),
            why="reading gone: the target ran past, or it was a flicker; move out and look again",
        ),
        _stop_because(source, "time_over", Reason.TIME_OUT, "it does not come to rest"),
    ]


def _edge_rows(out: str, back: str, then: str, s: Settings) -> list[Row]:
    """Leave the sensor, come back slowly, capture the edge."""
    return [
        *_moving_guards(out, s.stall_sensor, False),
        Row(out, ("clear_by_margin",), (), back, why="it has let go, with a margin"),
        _stop_because(out, ("left_too_far",), Reason.NEVER_RELEASED, "stuck on, or the target is not alone"),
        *_moving_guards(back, s.stall_sensor, True),
        Row(back, ("made",), (), then, (Effect.CAPTURE_EDGE,), why="the edge: stop and remember where"),
        _stop_because(back, "crept_too_far", Reason.NOT_FOUND_AGAIN, "the edge was here a moment ago"),
    ]


def _settling_rows(s: Settings) -> list[Row]:
    source = "settling"
    agreed = (
        Row(
            source,
            ("standstill", "readings_agree"),
            ("edge_not_trusted",),
            "leaving_again",
            (Effect.KEEP_EDGE,),
            why="edge found: find it once more",
        )
        if s.recheck
        else Row(
            source,
            ("standstill", "readings_agree"),
            ("edge_not_trusted",),
            "zeroed",
            (Effect.SET_ZERO,),
            why="standing, readings agree: zero from the captured edge",
        )
    )
    return [*_standing_guards(source), *_mistrust_rows(source, "backing_off"), agreed, *_lost_rows(source, "backing_off")]


def _settling_again_rows() -> list[Row]:
    source = "settling_again"
    return [
        *_standing_guards(source),
        *_mistrust_rows(source, "leaving_again"),
        Row(
            source,
            ("standstill", "readings_agree", "edges_agree"),
            ("edge_not_trusted",),
            "zeroed",
            (Effect.SET_ZERO,),
            why="both edges agree: zero from the captured edge",
        ),
        _stop_because(
            source,
            ("standstill", "readings_agree", "retries_used"),
            Reason.EDGES_DISAGREE,
            "slack, slip or a loose sensor",
            unless=("edges_agree",),
        ),
        Row(
            source,
            ("standstill", "readings_agree"),
            ("edges_agree", "retries_used"),
            "leaving_again",
            (Effect.KEEP_EDGE, Effect.COUNT_RETRY),
            why="edges differ: find it again and compare with the newest",
        ),
        *_lost_rows(source, "leaving_again"),
    ]


def _mistrust_rows(source: str, again: str) -> list[Row]:
    return [
        _stop_because(
            source,
            ("standstill", "edge_not_trusted", "retries_used"),
            Reason.EDGE_NOT_TRUSTED,
            "the controller is too often late at the edge",
        ),
        Row(
            source,
            ("standstill", "edge_not_trusted"),
            ("retries_used",),
            again,
            (Effect.COUNT_RETRY,),
            why="the edge was read across an overlong loop: approach it again",
        ),
    ]


def _lost_rows(source: str, again: str) -> list[Row]:
    return [
        _stop_because(
            source,
            ("standstill", "readings_agree_not_made", "retries_used"),
            Reason.READING_LOST,
            "the reading does not last at standstill",
        ),
        Row(
            source,
            ("standstill", "readings_agree_not_made"),
            ("retries_used",),
            again,
            (Effect.COUNT_RETRY,),
            why="reading gone at standstill: approach it again",
        ),
        _stop_because(source, "time_over", Reason.TIME_OUT, "readings do not agree"),
    ]
