"""What is known of a phase's conditions in an abstract state, and which rows can then be taken.

Each condition is true, false or either. Times are before or after: a timer may be over in any loop, unless
the lift cannot have got so far or cannot still be stopping by then. Of what is left open every combination
that the meaning of the conditions allows (``listing``) is tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np

from homing.kernel.codes import Condition
from homing.review.cells import AbstractLift
from homing.review.physics import MISCOUNTING, Broken
from homing.routine import Ask, Row, Table
from homing.structure.situations import situations

C = Condition
#: Takes from guessed speeds what they may be off: a lift may be faster than told by this factor.
FASTER = 1.25
EITHER = None
#: Zone of a place that is not known: where a phase began, once the counts have jumped.
ANYWHERE = -1


class Seen(NamedTuple):
    """What the conditions of a loop depend on."""

    phase: int
    cell: int
    still: bool
    running_on: bool
    taking_up: bool
    run: int
    turned: bool
    entry: int
    last_made: int
    zero: int
    edge_long: bool
    retries: int
    asked: bool
    jumped: bool = False


_NOTHING_SEEN = Seen(0, 0, False, False, False, 0, False, 0, 0, 0, False, 0, False)
IN_TIME = (C.TIMER_OVER, C.STANDSTILL, C.NOT_MOVING, C.JUMPED)
IN_DISTANCE = (C.MOVED, C.MOVED_OUT, C.MOVED_IN, C.WRONG_WAY, C.CLEAR_BY)
IN_HEIGHT = (C.BELOW, C.ABOVE, C.MADE_ABOVE)
IN_MIND = tuple(kind for kind in C if kind not in (*IN_TIME, *IN_DISTANCE, *IN_HEIGHT))
#: Conditions that look at the same of what is seen; what one group says is worked out once for it.
_GROUPS: tuple[tuple[tuple[Condition, ...], tuple[str, ...]], ...] = (
    (IN_TIME, ("cell", "still", "running_on", "taking_up", "entry", "jumped")),
    (IN_DISTANCE, ("cell", "running_on", "run", "entry", "last_made")),
    (IN_HEIGHT, ("cell", "run", "zero")),
    (IN_MIND, ("run", "turned", "zero", "edge_long", "retries", "asked")),
)


@dataclass(frozen=True)
class _Group:
    """Conditions that look at the same components of what is seen."""

    number: int
    kinds: tuple[Condition, ...]
    names: tuple[str, ...]

    @cached_property
    def looks_at(self) -> tuple[int, ...]:
        return tuple(Seen._fields.index(name) for name in self.names)


class Knowledge:
    """Rows that can be taken in a loop, by phase and by what was seen."""

    def __init__(
        self,
        table: Table,
        lift: AbstractLift,
        most_run: int,
        most_retries: int,
        *,
        broken: Broken = Broken.NOTHING,
    ) -> None:
        # a chattering reading may have been made anywhere since the phase began
        self.made_anywhere = broken is Broken.CHATTER
        self.reversed = broken is Broken.REVERSED
        self.miscounts = broken in MISCOUNTING
        self.loses = broken is Broken.COUNTS_LOST
        self.table, self.lift = table, lift
        self.most_run, self.most_retries = most_run, most_retries
        self.situations = [situations(table, phase) for phase in table.phases]
        names = [phase.name for phase in table.phases]
        self.row_numbers = [
            [number for number, row in enumerate(table.rows) if row.source == name] for name in names
        ]
        self.answers = lru_cache(maxsize=None)(self._answers)
        self._taken = lru_cache(maxsize=None)(self._taken_where)
        self._told = lru_cache(maxsize=None)(self._told_by)
        self._groups = tuple(_Group(number, *each) for number, each in enumerate(_GROUPS))

    def _answers(self, seen: Seen) -> tuple[tuple[int, ...], bool]:
        """Rows that can be taken (-1: none), and whether staying can last though all times are over."""
        true = false = late = 0
        for group in self._groups:
            t, f, n = self._told(group.number, seen.phase, *(seen[i] for i in group.looks_at))
            true, false, late = true | t, false | f, late | n
        rows = self._taken(seen.phase, true, false)
        lasting = -1 in rows and -1 in self._taken(seen.phase, true | late, false)
        return rows, lasting

    def _told_by(self, number: int, phase: int, *looked_at: int) -> tuple[int, int, int]:
        """Bits of the conditions of one group that hold, that do not, and that come with patience."""
        group = self._groups[number]
        values = dict(zip(group.names, looked_at, strict=True))
        seen = _NOTHING_SEEN._replace(phase=phase, **values)  # type: ignore[arg-type]
        true = false = late = 0
        for bit, ask in enumerate(self.situations[phase].asks):
            if ask.kind in group.kinds:
                holds = self.holds(ask, seen)
                patient = ask.kind == C.TIMER_OVER or (
                    seen.still and not seen.taking_up and ask.kind in (C.STANDSTILL, C.NOT_MOVING)
                )
                true |= (holds is True) << bit
                false |= (holds is False) << bit
                late |= (holds is EITHER and patient) << bit
        return true, false, late

    def _taken_where(self, phase: int, true: int, false: int) -> tuple[int, ...]:
        s = self.situations[phase]
        weights = 1 << np.arange(len(s.asks), dtype=np.int64)
        sets = s.holds @ weights if len(s.asks) else np.zeros(len(s.holds), dtype=np.int64)
        found = np.unique(s.taken[((sets & true) == true) & ((sets & false) == 0)])
        different: dict[object, int] = {}
        for n in found.tolist():
            # rows that do the same are one way on; the first one stands for them
            key = (s.rows[n].to, s.rows[n].effects, self._uses_start(s.rows[n])) if n >= 0 else None
            different.setdefault(key, self.row_numbers[phase][n] if n >= 0 else -1)
        return tuple(different.values())

    def _uses_start(self, row: Row) -> bool:
        return any(self.table.condition(name).kind == C.START for name in row.when)

    def holds(self, ask: Ask, seen: Seen) -> bool | None:
        """Whether a condition holds; None: it may or may not."""
        if ask.kind in IN_TIME:
            return self._in_time(ask, seen)
        if ask.kind in IN_DISTANCE:
            return self._in_distance(ask, seen)
        if ask.kind in IN_HEIGHT:
            return self._in_height(ask, seen)
        return self._in_mind(ask, seen)

    def _in_mind(self, ask: Ask, seen: Seen) -> bool | None:
        made = seen.run > 0
        if ask.kind in (C.MADE_RUN, C.CLEAR_RUN):
            run = seen.run if ask.kind == C.MADE_RUN else -seen.run
            return EITHER if run == self.most_run < ask.a else run >= ask.a
        if ask.kind == C.RETRIES_USED:
            return EITHER if seen.retries == self.most_retries < ask.a else seen.retries >= ask.a
        known = {
            C.START: seen.asked,
            C.MADE: made,
            C.JUST_MADE: seen.run == 1,
            C.JUST_RELEASED: seen.run == -1 and seen.turned,
            C.REFERENCED: seen.zero > 0,
            C.EDGE_LONG_LOOP: seen.edge_long,
        }
        return known.get(ask.kind, EITHER)

    def _in_time(self, ask: Ask, seen: Seen) -> bool | None:
        numbers, phase = self.lift.numbers, self.table.phases[seen.phase]
        speed = numbers.speed_m_s(phase)
        if ask.kind == C.JUMPED and seen.jumped:
            return True
        if ask.kind == C.JUMPED:
            return EITHER if not seen.still and ask.a < FASTER * self.lift.fastest_m_s else False
        if ask.kind == C.NOT_MOVING:
            known = phase.command.way != 0 and seen.still
            return EITHER if known and (not seen.taking_up or ask.a < numbers.starting_s) else False
        if ask.kind == C.STANDSTILL:
            return EITHER if seen.still or ask.a <= numbers.period_s else False
        if seen.running_on and ask.a > numbers.stopping_s(self.lift.fastest_m_s):
            return False
        least, _ = self._between(seen.entry, seen.cell)
        return True if speed and least > FASTER * speed * ask.a else EITHER

    def _between(self, a: int, b: int) -> tuple[float, float]:
        """Least and most distance between somewhere in two zones [m]."""
        if ANYWHERE in (a, b):
            return 0.0, float("inf")
        one, other = sorted((self.lift.cells[a], self.lift.cells[b]), key=lambda cell: cell.low_m)
        return (0.0 if a == b else max(0.0, other.low_m - one.high_m)), other.high_m - one.low_m

    def _in_distance(self, ask: Ask, seen: Seen) -> bool | None:
        by_reading = ask.kind == C.CLEAR_BY
        start = seen.last_made if by_reading and not self.made_anywhere else seen.entry
        way = self.table.phases[seen.phase].command.way
        least, most = self._between(start, seen.cell)
        if ask.kind == C.CLEAR_BY and seen.run > 0:
            return False
        if start == ANYWHERE:
            return EITHER
        wanted = {C.MOVED_OUT: 1, C.CLEAR_BY: 1, C.MOVED_IN: -1, C.WRONG_WAY: -way}.get(ask.kind)
        moved = (seen.cell > start) - (seen.cell < start)
        if wanted == 0 or (wanted and moved == -wanted):
            return False
        if ask.kind == C.WRONG_WAY and moved == 0 and not (seen.running_on or self.reversed):
            return False
        if most > ask.a and (self.loses or (by_reading and self.made_anywhere)):
            return EITHER
        return False if most <= ask.a else True if least > ask.a else EITHER

    def _in_height(self, ask: Ask, seen: Seen) -> bool | None:
        if seen.zero == 0 or (ask.kind == C.MADE_ABOVE and seen.run <= 0):
            return False
        cell = self.lift.cells[seen.cell]
        if self.miscounts or seen.zero in (2, 4):
            return EITHER
        below, above = cell.high_m <= ask.a, cell.low_m >= ask.a
        if not (below or above):
            return EITHER
        return below if ask.kind == C.BELOW else above
