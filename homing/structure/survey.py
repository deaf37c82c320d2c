"""A table laid out for the checks: what its phases are for, and every situation that they can meet.

What a phase is for follows from what it does, not from its name, so that the checks hold for any table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import cached_property

from homing.kernel.codes import Condition, Effect
from homing.routine import Phase, Role, Row, Table
from homing.structure.situations import Bools, Situations, situations

Check = Callable[["Survey"], Iterator[str]]


class Survey:
    """A table with what the checks ask of it."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self._situations = {phase.name: situations(table, phase) for phase in table.phases}

    # what phases are for

    @cached_property
    def moving(self) -> tuple[Phase, ...]:
        return tuple(phase for phase in self.table.phases if phase.role is Role.MOVING)

    @cached_property
    def inward(self) -> tuple[Phase, ...]:
        return tuple(phase for phase in self.moving if phase.command.way < 0)

    @cached_property
    def outward(self) -> tuple[Phase, ...]:
        return tuple(phase for phase in self.moving if phase.command.way > 0)

    @cached_property
    def standing(self) -> tuple[Phase, ...]:
        """Phases that stand and are to go on."""
        return tuple(phase for phase in self.table.phases if phase.role is Role.STOPPED)

    @cached_property
    def looks(self) -> tuple[Phase, ...]:
        """First looks: standing phases entered from the start."""
        entered = {row.to for row in self.table.rows_of(self.start.name)}
        return tuple(phase for phase in self.standing if phase.name in entered)

    @cached_property
    def edge_approaches(self) -> tuple[Phase, ...]:
        """Inward phases that capture an edge."""
        sources = {row.source for row in self.table.rows if captures(row)}
        return tuple(phase for phase in self.inward if phase.name in sources)

    @cached_property
    def approaches(self) -> tuple[Phase, ...]:
        """Inward phases that capture no edge."""
        return tuple(phase for phase in self.inward if phase not in self.edge_approaches)

    @cached_property
    def leaving(self) -> tuple[Phase, ...]:
        """Outward phases that watch whether the sensor has let go."""
        return tuple(phase for phase in self.outward if self.asks(phase, Condition.CLEAR_BY))

    @cached_property
    def searching(self) -> tuple[Phase, ...]:
        """Outward phases that look for a sensor that may be above the target."""
        return tuple(phase for phase in self.outward if phase not in self.leaving)

    @cached_property
    def after_edge(self) -> tuple[Phase, ...]:
        """Standing phases that judge a captured edge."""
        entered = {row.to for row in self.table.rows if captures(row)}
        return tuple(phase for phase in self.standing if phase.name in entered)

    @cached_property
    def after_stop(self) -> tuple[Phase, ...]:
        """Standing phases that follow the first made reading."""
        others = (*self.looks, *self.after_edge)
        return tuple(phase for phase in self.standing if phase not in others)

    @cached_property
    def slow(self) -> frozenset[str]:
        """Inward phases slower than the fastest one; all of them if they are alike."""
        inward = {phase.name: -phase.command.value for phase in self.inward}
        fastest = max(inward.values(), default=0.0)
        return frozenset(name for name, speed in inward.items() if speed < fastest) or frozenset(inward)

    @property
    def start(self) -> Phase:
        return self.table.phases[0]

    # what rows and phases ask and do

    def situations(self, phase: Phase) -> Situations:
        return self._situations[phase.name]

    def asks(self, phase: Phase, kind: Condition) -> bool:
        """Whether some row of the phase asks for a condition of this kind to hold."""
        return any(kind in self.kinds(row.when) for row in self.table.rows_of(phase.name))

    def kinds(self, names: Iterable[str]) -> set[Condition]:
        return {self.table.condition(name).kind for name in names}

    def faults(self, row: Row) -> bool:
        return self.table.phase(row.to).role is Role.FAULTED

    def faults_on(self, phase: Phase, kind: Condition) -> bool:
        """Whether a row of the phase faults on a condition of this kind and asks nothing else."""
        rows = (row for row in self.table.rows_of(phase.name) if self.faults(row))
        return any(len(row.when) == 1 and not row.unless and self.kinds(row.when) == {kind} for row in rows)

    def leads_to(self, phases: tuple[Phase, ...]) -> Callable[[Row], bool]:
        """A test of rows: leads to one of these phases."""
        names = {phase.name for phase in phases}
        return lambda row: row.to in names

    def judged_in(self, leaving: str) -> set[str]:
        """Where the edge is judged that is found after leaving the sensor in this phase; empty for others."""
        if leaving not in {phase.name for phase in self.leaving}:
            return set()
        approaches = {phase.name for phase in self.edge_approaches}
        ways = {row.to for row in self.table.rows_of(leaving)} & approaches
        return {row.to for row in self.table.rows if row.source in ways and captures(row)}

    # what is wrong in a situation

    def upset(self, phase: Phase) -> Bools:
        """Where something is wrong whatever else holds: counts, direction, travel, and time while moving."""
        s = self.situations(phase)
        wrong = s.some(Condition.JUMPED, Condition.WRONG_WAY) | s.hardest(Condition.MOVED)
        if phase in self.moving:
            wrong = wrong | s.hardest(Condition.TIMER_OVER)
        # at the upper stop a search stands still rightly
        return wrong if phase in self.searching else wrong | s.some(Condition.NOT_MOVING)

    def trouble(self, phase: Phase) -> Bools:
        """Where what was stopped on cannot be used: reading lost, edge not trusted, edges apart."""
        s = self.situations(phase)
        lost = s.some(Condition.CLEAR_RUN) | s.some(Condition.EDGE_LONG_LOOP)
        if any(ask.kind == Condition.EDGES_AGREE for ask in s.asks):
            lost |= s.some(Condition.MADE_RUN) & ~s.some(Condition.EDGES_AGREE)
        return lost


def captures(row: Row) -> bool:
    return Effect.CAPTURE_EDGE in row.effects


def retries(row: Row) -> bool:
    return Effect.COUNT_RETRY in row.effects


def arrow(row: Row) -> str:
    """A row as findings name it."""
    return f"{row.source} -> {row.to}"
