"""Where the numbers of the built-in routine's conditions and commands come from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from homing.export.origins import Origin, given_or_assumed

if TYPE_CHECKING:
    from homing.liftfile import Lift

_FIXED = "own choice, fixed in the built-in routine"


@dataclass(frozen=True)
class Note:
    """Origin of one number: what it is in words, and the keys that it follows from."""

    origin: Origin
    words: str


def _key(name: str) -> Callable[[Lift], Note]:
    """A number that is a setting itself."""

    def note(lift: Lift) -> Note:
        table = lift.routine
        quantity = given_or_assumed(lift, f"routine.{name}", getattr(table, name))
        return Note(quantity.origin, f"routine.{name}, {quantity.origin_words}")

    return note


def _worked_out(words: str) -> Callable[[Lift], Note]:
    return lambda lift: Note(Origin.WORKED_OUT, f"worked out: {words}")


def _fixed(words: str) -> Callable[[Lift], Note]:
    return lambda lift: Note(Origin.BUILT_IN, words)


#: Conditions of the built-in table that have a number.
ASKS: dict[str, Callable[[Lift], Note]] = {
    "readings_agree": _key("agree_readings"),
    "readings_agree_not_made": _key("agree_readings"),
    "edges_agree": _key("recheck_tolerance_mm"),
    "retries_used": _key("retries"),
    "clear_by_margin": _key("back_off_mm"),
    "standstill": _key("settle_ms"),
    "looked_long_enough": _fixed("common practice, no source: a few loops; fixed in the built-in routine"),
    "never_steady": _fixed(
        "common practice, no source: far longer than any contact burst; fixed in the built-in routine"
    ),
    "time_over": _key("timeout_s"),
    "past_travel_guard": _key("travel_guard_mm"),
    "moved_while_standing": _fixed(_FIXED),
    "moved_while_looking": _fixed(_FIXED),
    "lifted_far_enough": _key("first_lift_mm"),
    "left_too_far": _key("leave_limit_mm"),
    "crept_too_far": _worked_out(
        "routine.back_off_mm, the spread of the sensor's edge over the tolerances, the delays at creep "
        "speed, and 5 mm"
    ),
    "not_moving": _key("no_motion_ms"),
    "wrong_way": _fixed(_FIXED),
    "in_slow_zone": _key("slow_zone_mm"),
    "below_sensor": _worked_out(
        "the lowest trip height over the tolerances, less routine.recheck_tolerance_mm and "
        "routine.back_off_mm"
    ),
    "above_trip_zone": _worked_out(
        "the highest release height over the tolerances, with routine.recheck_tolerance_mm and "
        "routine.back_off_mm"
    ),
    "counts_jumped": _worked_out("twice the free speed of the drive"),
}

#: Commands of the built-in table that move.
COMMANDS: dict[str, Callable[[Lift], Note]] = {
    "coming_in": _key("fast_speed_mm_s"),
    **dict.fromkeys(
        ("lifting", "easing_in", "backing_off", "creeping", "leaving_again", "creeping_again"),
        _key("creep_speed_mm_s"),
    ),
}

_OWN = "given in the lift file, in the routine's own table"


def ask_note(lift: Lift, name: str) -> Note:
    """Origin of the number of a condition."""
    return _note(lift, name, ASKS)


def command_note(lift: Lift, name: str) -> Note:
    """Origin of the command of a phase."""
    return _note(lift, name, COMMANDS)


def _note(lift: Lift, name: str, known: dict[str, Callable[[Lift], Note]]) -> Note:
    if lift.own_routine is None and name in known:
        return known[name](lift)
    return Note(Origin.GIVEN, _OWN)
