"""Rows of the built-in sequence, phase by phase; their order is their priority.

In every phase the guards stand first (what is wrong is answered before anything else) and, in phases
that stand, the time limit last (what was waited for, once there, counts). Rows that use an edge or
count a retry name everything that they need, so that they do not lean on the order.
"""

from __future__ import annotations

from homing.kernel.codes import Effect, Reason
from homing.routine import Row

Names = tuple[str, ...]

LOST = "reading gone at standstill: approach it again"
RESTLESS = "it does not come to rest, or readings do not agree"


def builtin_rows(recheck: bool, stall_sensor: bool) -> tuple[Row, ...]:
    """All rows.

    Parameters
    ----------
    recheck : bool
        Find the edge twice and compare.
    stall_sensor : bool
        The hard stop is the sensor: standing counts on the way in are the sign, not a fault.
    """
    moving = not stall_sensor
    rows = [
        Row("waiting", ("start_requested",), (), "checking", why="a start was requested"),
        *_checking_rows(),
        *_lifting_rows(),
        *_approach_rows("coming_in", moving),
        Row("coming_in", ("in_slow_zone",), (), "easing_in", why="near the end: slow"),
        *_approach_rows("easing_in", moving),
        *_stopping_rows(),
        *_edge_rows("backing_off", "creeping", "settling", moving),
        *_settling_rows(recheck),
    ]
    if recheck:
        rows += _edge_rows("leaving_again", "creeping_again", "settling_again", moving)
        rows += _settling_again_rows()
    return tuple(rows)


def _fault(source: str, when: Names, reason: Reason, why: str, unless: Names = ()) -> Row:
    return Row(source, when, unless, "faulted", (), reason, why)


def _moving_guards(source: str, no_motion: bool = True) -> list[Row]:
    """What every moving phase must have: count jump, wrong way, travel, time and no motion."""
    guards = [
        _fault(source, ("counts_jumped",), Reason.COUNTS_JUMPED, "the counts cannot be believed any more"),
        _fault(source, ("wrong_way",), Reason.WRONG_WAY, "drive, encoder or string is not what it should be"),
        _fault(source, ("past_travel_guard",), Reason.TRAVEL_GUARD, "the end must have come long before"),
        _fault(source, ("time_over",), Reason.TIME_OUT, "something hinders it"),
    ]
    if no_motion:
        guards.append(_fault(source, ("not_moving",), Reason.NOT_MOVING, "jammed, or the encoder is dead"))
    return guards


def _standing_guards(source: str, moved: str = "moved_while_standing") -> list[Row]:
    """What every standing phase must have: count jump, and moving while it should not."""
    moves = "the stop does not hold the lift"
    return [
        _fault(source, ("counts_jumped",), Reason.COUNTS_JUMPED, "the counts cannot be believed any more"),
        _fault(source, (moved,), Reason.DOES_NOT_STOP, moves),
    ]


def _checking_rows() -> list[Row]:
    source = "checking"
    made, clear = ("looked_long_enough", "readings_agree"), ("looked_long_enough", "readings_agree_not_made")
    stuck = "made where the target cannot be: the sensor is stuck or something else is in front of it"
    unknown = "height unknown: the target may be below the sensor"
    return [
        *_standing_guards(source, "moved_while_looking"),
        _fault(source, (*made, "above_trip_zone"), Reason.MADE_TOO_HIGH, stuck),
        Row(source, made, (), "backing_off", why="already on the sensor: leave it"),
        Row(source, (*clear, "referenced"), (), "coming_in", why="height is known: come in"),
        Row(source, clear, (), "lifting", why=unknown),
        _fault(source, ("never_steady",), Reason.NEVER_STEADY, "readings change while nothing moves"),
    ]


def _lifting_rows() -> list[Row]:
    source, found = "lifting", "it was below the sensor: go on out until it lets go"
    return [
        *_moving_guards(source, no_motion=False),
        Row(source, ("readings_agree",), (), "backing_off", why=found),
        Row(source, ("lifted_far_enough",), (), "coming_in", why="surely above the sensor now"),
        Row(source, ("not_moving",), (), "coming_in", why="at the upper stop: above the sensor"),
    ]


def _approach_rows(source: str, no_motion: bool) -> list[Row]:
    passed = "the sensor should have been made by now"
    return [
        *_moving_guards(source, no_motion),
        _fault(source, ("made", "above_trip_zone"), Reason.MADE_TOO_HIGH, "made where the target cannot be"),
        Row(source, ("made",), (), "stopping", why="first made reading: stop at once"),
        _fault(source, ("below_sensor",), Reason.BELOW_SENSOR, passed),
    ]


def _stopping_rows() -> list[Row]:
    source, stands = "stopping", ("standstill", "readings_agree")
    again = "reading gone: the target ran past, or it was a flicker; move out and look again"
    return [
        *_standing_guards(source),
        Row(source, stands, (), "backing_off", why="standing on the sensor: leave it"),
        *_lost_rows(source, "lifting", again),
        _fault(source, ("time_over",), Reason.TIME_OUT, RESTLESS),
    ]


def _edge_rows(out: str, back: str, then: str, no_motion: bool) -> list[Row]:
    """Leave the sensor, come back slowly, capture the edge."""
    edge = "the edge: stop and remember where"
    return [
        *_moving_guards(out),
        Row(out, ("clear_by_margin",), (), back, why="it has let go, with a margin"),
        _fault(out, ("left_too_far",), Reason.NEVER_RELEASED, "stuck on, or the target is not alone"),
        *_moving_guards(back, no_motion),
        Row(back, ("made",), (), then, (Effect.CAPTURE_EDGE,), why=edge),
        _fault(back, ("crept_too_far",), Reason.NOT_FOUND_AGAIN, "the edge was here a moment ago"),
    ]


def _settling_rows(recheck: bool) -> list[Row]:
    source = "settling"
    then: tuple[str, Effect, str] = (
        "zeroed",
        Effect.SET_ZERO,
        "standing, readings agree: zero from the edge",
    )
    if recheck:
        then = ("leaving_again", Effect.KEEP_EDGE, "edge found: find it once more")
    to, effect, why = then
    return [
        *_standing_guards(source),
        *_mistrust_rows(source, "backing_off"),
        Row(source, ("standstill", "readings_agree"), ("edge_not_trusted",), to, (effect,), why=why),
        *_lost_rows(source, "backing_off", LOST),
        _fault(source, ("time_over",), Reason.TIME_OUT, RESTLESS),
    ]


def _settling_again_rows() -> list[Row]:
    source, again = "settling_again", "leaving_again"
    sound, differ = ("standstill", "readings_agree"), ("edges_agree", "edge_not_trusted")
    agree = "both edges agree: zero from the captured edge"
    newest = "edges differ: find it again and compare with the newest"
    both = (Effect.KEEP_EDGE, Effect.COUNT_RETRY)
    return [
        *_standing_guards(source),
        *_mistrust_rows(source, again),
        Row(source, (*sound, "edges_agree"), ("edge_not_trusted",), "zeroed", (Effect.SET_ZERO,), why=agree),
        _fault(
            source, (*sound, "retries_used"), Reason.EDGES_DISAGREE, "slack, slip or a loose sensor", differ
        ),
        Row(source, sound, (*differ, "retries_used"), again, both, why=newest),
        *_lost_rows(source, again, LOST),
        _fault(source, ("time_over",), Reason.TIME_OUT, RESTLESS),
    ]


def _mistrust_rows(source: str, again: str) -> list[Row]:
    """The edge was read across an overlong loop."""
    late, trouble = "the controller is too often late at the edge", ("standstill", "edge_not_trusted")
    why = "the edge was read across an overlong loop: approach it again"
    return [
        _fault(source, (*trouble, "retries_used"), Reason.EDGE_NOT_TRUSTED, late),
        Row(source, trouble, ("retries_used",), again, (Effect.COUNT_RETRY,), why=why),
    ]


def _lost_rows(source: str, again: str, why: str) -> list[Row]:
    """The reading that it stopped on is gone at standstill."""
    lasts, trouble = "the reading does not last at standstill", ("standstill", "readings_agree_not_made")
    return [
        _fault(source, (*trouble, "retries_used"), Reason.READING_LOST, lasts),
        Row(source, trouble, ("retries_used",), again, (Effect.COUNT_RETRY,), why=why),
    ]
