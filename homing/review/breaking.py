"""Which invariants a loop breaks, for one table with one fault."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition, Effect
from homing.review.invariants import Invariant, applies
from homing.review.knowledge import Knowledge
from homing.review.physics import STILL, Physics
from homing.review.scene import ZEROING
from homing.review.states import NEW_RIGHT, NEW_WRONG, State
from homing.routine import Role, Table

C = Condition
DISTANCES = (C.MOVED, C.MOVED_OUT, C.MOVED_IN, C.WRONG_WAY, C.TIMER_OVER, C.CLEAR_BY)


class Breaking:
    """A table laid out by numbers of phases and rows, and the invariants held against its loops."""

    def __init__(self, table: Table, physics: Physics, knowledge: Knowledge) -> None:
        self.table, self.physics = table, physics
        self.lift, self.broken = physics.lift, physics.broken
        self.ways_told = [phase.command.way for phase in table.phases]
        self.roles = [phase.role for phase in table.phases]
        self.is_over = [not table.rows_of(phase.name) for phase in table.phases]
        self.asked = [{ask.kind for ask in s.asks} for s in knowledge.situations]
        self.keeps_any = any(Effect.KEEP_CLOCKS in row.effects for row in table.rows)
        self.asks_entry = [self.keeps_any or bool(asked & set(DISTANCES)) for asked in self.asked]
        self.to = [table.phase_index(row.to) for row in table.rows]
        self.effects = [frozenset(row.effects) for row in table.rows]
        self.uses_start = [
            any(table.condition(name).kind == C.START for name in row.when) for row in table.rows
        ]

    def _in_zone(self, cell: int) -> bool:
        return self.lift.stop <= cell <= self.lift.trip_zone_top

    def _from_travel(self, state: State) -> bool:
        """The phase began on the travel, or does not look where it began."""
        return not self.asks_entry[state.phase] or state.entry >= self.lift.stop

    def _wrong(self, before: State, row: int, after: State) -> Iterator[Invariant]:
        """Invariants that are asked for and that this loop breaks."""
        for invariant in self._broken_by(before, row, after):
            if applies(invariant, self.broken):
                yield invariant

    def _broken_by(self, before: State, row: int, after: State) -> Iterator[Invariant]:
        way, way_after = (self.physics.really(self.ways_told[state.phase]) for state in (before, after))
        if way < 0 and way_after < 0:
            if after.run >= 2 and not self.is_over[after.phase] and not self.lift.stall_sensor:
                yield Invariant.MADE
            if before.cell < self.lift.stop and after.cell < self.lift.stop:
                yield Invariant.STOP
        if way < 0 and after.cell == 0 and after.phase == before.phase and self._from_travel(before):
            yield Invariant.GUARD
        if self.roles[after.phase] is Role.FAULTED and way_after != 0:
            yield Invariant.FAULTED
        if row >= 0:
            yield from self._broken_by_row(before, row, after)

    def _broken_by_row(self, before: State, row: int, after: State) -> Iterator[Invariant]:
        if self.roles[before.phase] is Role.FAULTED and not self.uses_start[row]:
            yield Invariant.FAULTED
        if self.effects[row] & set(ZEROING):
            if after.motion != STILL:
                yield Invariant.STANDING
            if after.zero == NEW_WRONG:
                yield Invariant.IN_ZONE
        changed = self.effects[row] & {*ZEROING, Effect.FORGET_ZERO}
        zero = after.zero if changed else before.zero
        if self.roles[after.phase] is Role.ZEROED and zero not in (NEW_RIGHT, NEW_WRONG):
            yield Invariant.HAS_ZERO
