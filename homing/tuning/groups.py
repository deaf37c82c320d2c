"""The numbers of an own table in groups: those that mean one thing and move together.

Equal numbers of one kind are one setting, and stay equal: a settling time that two phases share, the number
of agreeing readings that one row asks for and its neighbour excludes. Moved apart they would leave a gap in
which no row holds. A speed in and a speed out are two settings even where they are equal.

Keys here and in all of ``homing.tuning`` are those below ``[routine]``: ``phase.NAME.speed_mm_s``,
``row.NUMBER.when.WORD``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from homing.kernel.codes import Condition, Order
from homing.own.routine import OwnAsk, OwnPhase, OwnRoutine, OwnRow
from homing.routine import Role

#: Phases whose numbers are at work while the lift is being zeroed.
AT_WORK = (Role.MOVING, Role.STOPPED)
#: Conditions that read alike: their equal numbers mean the same thing.
_ALIKE = {Condition.CLEAR_RUN: Condition.MADE_RUN, Condition.ABOVE: Condition.BELOW}
#: Conditions of which a row to a fault makes a guard, apart from the rows that go on.
_GUARDS = (Condition.TIMER_OVER, Condition.MOVED, Condition.MOVED_OUT, Condition.MOVED_IN)


@dataclass(frozen=True)
class Number:
    """One number of the table: of a phase, or of a condition (``ask``) that a row of this phase names."""

    key: str
    value: float
    phase: OwnPhase
    row: OwnRow | None = None
    ask: OwnAsk | None = None
    faults: bool = False

    @property
    def kind(self) -> Order | Condition:
        return self.phase.order if self.ask is None else self.ask.word.kind

    @property
    def alone(self) -> bool:
        """Whether nothing else is asked by its row."""
        return self.row is not None and len(self.row.when) == 1 and not self.row.unless

    @property
    def moves(self) -> bool:
        """Whether its phase moves the lift."""
        return self.phase.value != 0.0

    @property
    def ends_way_in(self) -> bool:
        """Whether its row ends a way in and goes on."""
        return self.row is not None and not self.faults and self.phase.value < 0.0

    @property
    def family(self) -> tuple[object, ...]:
        """Numbers of one family are one setting."""
        if self.ask is None:
            return (self.kind, self.value)
        kind = self.ask.word.kind
        apart: tuple[bool, ...] = ()
        if kind in _GUARDS:
            # a guard may cover phases that move and phases that stand; a step of either is its own
            apart = (self.faults, self.faults or self.moves)
        elif kind is Condition.MADE_RUN:
            # a way in that ends on agreeing readings stops the later, the more of them it asks for
            apart = (self.ends_way_in,)
        elif kind is Condition.CLEAR_RUN:
            apart = (False,)
        return (_ALIKE.get(kind, kind), *apart, self.value)


@dataclass(frozen=True)
class Group:
    """Numbers of one family, in the order of the file; the first one names the group."""

    numbers: tuple[Number, ...]

    @property
    def first(self) -> Number:
        return self.numbers[0]

    @property
    def key(self) -> str:
        return self.first.key

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(number.key for number in self.numbers)

    @property
    def also(self) -> tuple[str, ...]:
        """Keys of the numbers that go with the first one."""
        return self.keys[1:]

    @property
    def kind(self) -> Order | Condition:
        return self.first.kind

    @property
    def size(self) -> float:
        return abs(self.first.value)

    @property
    def guard(self) -> bool:
        """Whether its rows all lead to a fault."""
        return all(number.faults for number in self.numbers)

    @property
    def moves(self) -> bool:
        """Whether any of its phases moves."""
        return any(number.moves for number in self.numbers)


def groups(own: OwnRoutine) -> tuple[Group, ...]:
    """All groups, in the order of the file."""
    found: dict[tuple[object, ...], list[Number]] = {}
    for number in _numbers(own):
        found.setdefault(number.family, []).append(number)
    return tuple(Group(tuple(numbers)) for numbers in found.values())


def _numbers(own: OwnRoutine) -> Iterator[Number]:
    """Numbers that are at work: those of phases that wait, are done or have given up stay out."""
    phases = {phase.name: phase for phase in own.phases}
    for phase in own.phases:
        if phase.value != 0.0 and phase.role in AT_WORK:
            yield Number(f"phase.{phase.name}.{phase.key}", phase.value, phase)
    for row in own.rows:
        source = phases[row.source]
        if source.role not in AT_WORK:
            continue
        faults = phases[row.to].role is Role.FAULTED
        for part, asks in (("when", row.when), ("unless", row.unless)):
            for ask in asks:
                if ask.value is not None:
                    key = f"row.{row.number}.{part}.{ask.word.word}"
                    yield Number(key, ask.value, source, row, ask, faults)
