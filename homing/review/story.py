"""The shortest way to a broken invariant, told loop by loop."""

from __future__ import annotations

from itertools import pairwise

from homing.kernel.codes import Effect
from homing.review.invariants import Invariant
from homing.review.physics import STILL, Broken
from homing.review.search import Walk
from homing.review.states import NO_ZERO, OLD_WRONG, Broke, State
from homing.routine import Role, spoken

_ENDINGS = {
    Invariant.MADE: "It has read made twice, and is still told to move in.",
    Invariant.STOP: "The carriage rests on the stop, and the drive is still told to move in: "
    "the string goes slack.",
    Invariant.GUARD: "It has moved a quarter further than the whole travel, and nothing has stopped it.",
    Invariant.FAULTED: "A fault must stand until a person asks for a start.",
    Invariant.STANDING: "Zero is set while the lift still moves: what it runs on is lost.",
    Invariant.IN_ZONE: "Zero is set where no zero belongs: the declared height is wrong from here on.",
    Invariant.HAS_ZERO: "It says zeroed, and no zero was set.",
}
_DOES = {
    Effect.CAPTURE_EDGE: "captures the edge",
    Effect.KEEP_EDGE: "keeps the edge",
    Effect.SET_ZERO: "sets zero from the edge",
    Effect.ZERO_HERE: "sets zero here",
    Effect.COUNT_RETRY: "counts a retry",
    Effect.FORGET_RETRIES: "forgets the retries",
    Effect.FORGET_ZERO: "forgets the zero",
    Effect.KEEP_CLOCKS: "lets the clocks run on",
}


def way_to(walk: Walk, broke: Broke) -> list[tuple[State, int]]:
    """States from the start to the broken loop, each with the row that led to it (-1: none)."""
    back: list[tuple[State, int]] = [(broke.state, broke.row)]
    state: State | None = broke.before
    while state is not None:
        loop = walk.loop_to(state)
        back.append((state, -1 if loop is None else loop.row))
        state = None if loop is None else loop.before
    return back[::-1]


def story(walk: Walk, broke: Broke) -> tuple[str, ...]:
    """The story of a broken invariant, a sentence a loop."""
    way = way_to(walk, broke)
    first = way[0][0]
    told = [_beginning(walk, first)]
    for number, ((before, _), (after, row)) in enumerate(pairwise(way), start=1):
        told.append(f"Loop {number}: {_loop(walk, before, after, row)}")
    told.append(_ENDINGS.get(broke.invariant) or _without_end(walk, broke))
    return tuple(told)


def _beginning(walk: Walk, state: State) -> str:
    height = {NO_ZERO: "no height is known", OLD_WRONG: "it believes a height that is wrong"}
    known = height.get(state.zero, "the height is known from before")
    broken = {
        Broken.INVERTED: "; its reading is inverted",
        Broken.CHATTER: "; its reading chatters",
        Broken.LATE: "; readings come a loop late",
        Broken.COUNTS_LOST: "; counts are lost on the way",
        Broken.REVERSED: "; its drive is reversed",
    }.get(walk.broken, "")
    name = walk.table.phases[state.phase].name
    return f"At first: {name}, at rest {_place(walk, state)}; a start is requested, {known}{broken}."


def _loop(walk: Walk, before: State, after: State, row: int) -> str:
    phase = walk.table.phases[before.phase]
    told = {-1: "told in", 0: "told to stand", 1: "told out"}[phase.command.way]
    parts = [f"{phase.name}, {told}, {_motion(after)} {_place(walk, after)}"]
    if after.struck and not before.struck:
        parts.append(f"now {walk.broken.value}")
    if after.run:
        parts.append("reads made" if after.run > 0 else "reads not made")
    return ", ".join(parts) + "; " + (_row(walk, row) if row >= 0 else "no row is taken") + "."


def _motion(state: State) -> str:
    return "standing" if state.motion == STILL else "moving in," if state.motion[0] < 0 else "moving out,"


def _place(walk: Walk, state: State) -> str:
    return walk.lift.cells[state.cell].words


def _row(walk: Walk, number: int) -> str:
    row = walk.table.rows[number]
    asked = " and ".join(spoken(name) for name in row.when) or "always"
    barred = f", not {' or '.join(name.replace('_', ' ') for name in row.unless)}" if row.unless else ""
    does = "".join(f", {_DOES[effect]}" for effect in row.effects)
    return f"row {number + 1} ({asked}{barred}) leads to {row.to}{does}"


def _without_end(walk: Walk, broke: Broke) -> str:
    phase = walk.table.phases[broke.state.phase]
    if broke.row < 0:
        waits = " It waits for a start that has been used up." if phase.role is Role.START else ""
        return f"From here nothing changes any more: it stays in {phase.name} for good.{waits}"
    start = walk.table.phases[broke.before.phase].name
    return f"From {phase.name} it can come back to {start} in the same state, and go round for ever."
