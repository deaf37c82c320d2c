"""Breadth-first exploration of a table against the abstract lift, one fault at a time.

A state is what the next loop depends on; components that the present phase does not ask are left out. The
first state found that breaks an invariant is reached by a shortest story, since all states of a story's
length are visited before any longer one.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from homing.kernel.codes import Condition, Effect
from homing.review.cells import AbstractLift, table_speeds
from homing.review.invariants import Invariant, applies
from homing.review.knowledge import Knowledge, Seen
from homing.review.physics import STILL, STRIKING, Broken, Moved, Physics
from homing.review.states import NEW_RIGHT, NEW_WRONG, NO_ZERO, OLD_RIGHT, OLD_WRONG, Broke, Loop, State
from homing.routine import Role, Table

C = Condition
#: Longest run of equal readings and most retries told apart; beyond, either is possible.
MOST_RUN, MOST_RETRIES = 4, 4
DISTANCES = (C.MOVED, C.MOVED_OUT, C.MOVED_IN, C.WRONG_WAY, C.TIMER_OVER, C.CLEAR_BY)


class Walk:
    """All states of one table with one fault."""

    def __init__(self, table: Table, lift: AbstractLift, broken: Broken, most_states: int) -> None:
        self.table, self.lift, self.broken, self.most_states = table, lift, broken, most_states
        self.speeds = table_speeds(table, lift.numbers) or (0.0,)
        self.physics = Physics(lift, self.speeds, broken)
        asked = {kind: [int(ask.a) for ask in table.conditions if ask.kind == kind] for kind in C}
        runs = [*asked[C.MADE_RUN], *asked[C.CLEAR_RUN]]
        self.most_run = min(MOST_RUN, max([2, *runs]))
        self.most_retries = min(MOST_RETRIES, max([0, *asked[C.RETRIES_USED]]))
        chatters = broken is Broken.CHATTER
        self.knowledge = Knowledge(table, lift, self.most_run, self.most_retries, made_anywhere=chatters)
        self._lay_out()
        self.found: dict[State, Loop | None] = {}
        self.transitions = 0
        self.complete = True
        self.broke: dict[Invariant, Broke] = {}
        self.edges: list[tuple[State, State, int]] = []
        self.lasting: list[tuple[State, State]] = []

    def _lay_out(self) -> None:
        table, keeps = self.table, False
        keeps = any(Effect.KEEP_CLOCKS in row.effects for row in table.rows)
        self.ways = [phase.command.way for phase in table.phases]
        self.roles = [phase.role for phase in table.phases]
        self.speed_of = [
            self.speeds.index(self.lift.numbers.speed_m_s(phase)) if phase.command.way else 0
            for phase in table.phases
        ]
        kinds = [{ask.kind for ask in s.asks} for s in self.knowledge.situations]
        self.asks_entry = [keeps or bool(asked & set(DISTANCES)) for asked in kinds]
        chatters = self.broken is Broken.CHATTER
        self.asks_made = [not chatters and (keeps or C.CLEAR_BY in asked) for asked in kinds]
        self.is_over = [not table.rows_of(phase.name) for phase in table.phases]
        self.to = [table.phase_index(row.to) for row in table.rows]
        self.effects = [frozenset(row.effects) for row in table.rows]
        self.uses_start = [
            any(table.condition(name).kind == C.START for name in row.when) for row in table.rows
        ]

    def starts(self) -> Iterator[State]:
        """At rest anywhere on the travel, a start requested, with or without a height from before."""
        zeros = (OLD_WRONG,) if self.broken is Broken.WRONG_HEIGHT else (NO_ZERO, OLD_RIGHT)
        for cell in range(self.lift.top, self.lift.stop - 1, -1):
            sees = self.lift.cells[cell].sees
            for zero in zeros:
                for latch in (0, 1) if sees < 0 else (sees,):
                    yield self._tidy(
                        State(0, cell, STILL, latch, 0, cell, cell, zero, 0, False, 0, True, False)
                    )

    def _tidy(self, state: State) -> State:
        """Leave out what the phase does not ask, so that states that cannot be told apart are one."""
        phase = state.phase
        if self.is_over[phase]:
            return State(
                phase, state.cell, state.motion, 0, 0, 0, 0, state.zero, 0, False, 0, False, state.struck
            )
        entry = state.entry if self.asks_entry[phase] else 0
        last = state.last_made if self.asks_made[phase] else 0
        if entry == state.entry and last == state.last_made:
            return state
        return state._replace(entry=entry, last_made=last)

    def go(self) -> None:
        """Visit everything that can be reached, or as much as is allowed."""
        waiting: deque[State] = deque()
        for state in self.starts():
            if state not in self.found:
                self.found[state] = None
                waiting.append(state)
        while waiting:
            if len(self.found) > self.most_states:
                self.complete = False
                return
            before = waiting.popleft()
            for row, after, lasting in self._loops(before):
                self.transitions += 1
                self._check(before, row, after)
                ended = self.roles[before.phase] in (Role.ZEROED, Role.FAULTED)
                if not ended:
                    self.edges.append((before, after, row))
                    if lasting:
                        self.lasting.append((before, after))
                if after not in self.found:
                    self.found[after] = Loop(before, row)
                    waiting.append(after)

    def forget_edges(self) -> None:
        """Give back the memory of what only the search for endless runs needs."""
        self.edges, self.lasting = [], []

    def _loops(self, state: State) -> Iterator[tuple[int, State, bool]]:
        """Every way in which one loop may pass: row taken, state after it, and whether it may stay so."""
        way, speed = self.ways[state.phase], self.speed_of[state.phase]
        strikes = (False, True) if self.broken in STRIKING and not state.struck else (state.struck,)
        for struck in strikes:
            deaf = self.broken is Broken.CHATTER or (struck and self.broken is not Broken.JAM)
            for moved in self.physics.moves(state.cell, state.motion, way, speed, struck):
                still = moved.motion == STILL and state.motion == STILL and moved.cell == state.cell
                for latch, reading in self.physics.readings(moved.cell, state.latch, way, still, struck):
                    # what the sensor says no longer matters where the reading does not follow it
                    yield from self._rows(state, moved, 0 if deaf else latch, reading, still, struck)

    def _rows(
        self, state: State, moved: Moved, latch: int, reading: int, still: bool, struck: bool
    ) -> Iterator[tuple[int, State, bool]]:
        run = self._run(state.run, reading)
        last = moved.cell if reading and self.asks_made[state.phase] else state.last_made
        moving_otherwise = moved.motion != STILL and moved.motion[0] != self.ways[state.phase]
        seen = Seen(
            state.phase, moved.cell, still, moving_otherwise, moved.taking_up, run, state.run > 0,
            state.entry, last, state.zero, state.edge_long, state.retries, state.asked,
        )  # fmt: skip
        rows, patient = self.knowledge.answers(seen)
        for row in rows:
            after = State(
                state.phase, moved.cell, moved.motion, latch, run, state.entry, last, state.zero,
                state.edge, state.edge_long, state.retries, state.asked, struck,
            )  # fmt: skip
            if row >= 0:
                for taken in self._taken(state, after, row):
                    yield row, taken, False
            else:
                yield (
                    row,
                    self._tidy(after) if self.is_over[state.phase] else after,
                    patient and moved.lasting and self._settled(state, after),
                )

    def _settled(self, before: State, after: State) -> bool:
        """Nothing changes any more, or only what may change for ever."""
        settled = abs(after.run) == self.most_run or self.broken is Broken.CHATTER
        return settled and before.cell == after.cell and before.motion == after.motion

    def _run(self, run: int, reading: int) -> int:
        if reading:
            return min(run + 1, self.most_run) if run > 0 else 1
        return max(run - 1, -self.most_run) if run < 0 else -1

    def _taken(self, before: State, after: State, row: int) -> Iterator[State]:
        """The state after a row's effects; in a late loop an edge may or may not be trusted."""
        effects, cell = self.effects[row], after.cell
        keeps = Effect.KEEP_CLOCKS in effects
        entry, last = (after.entry, after.last_made) if keeps else (cell, cell)
        asked = after.asked and not self.uses_start[row]
        changed = State(
            self.to[row], cell, after.motion, after.latch, after.run, entry, last, after.zero,
            after.edge, after.edge_long, after.retries, asked, after.struck,
        )  # fmt: skip
        if effects:
            changed = self._with_effects(before, changed, effects)
        yield self._tidy(changed)
        if Effect.CAPTURE_EDGE in effects and self.broken is Broken.LATE:
            yield self._tidy(changed._replace(edge_long=True))

    def _with_effects(self, before: State, after: State, effects: frozenset[Effect]) -> State:
        edge, zero, retries, edge_long = after.edge, after.zero, after.retries, after.edge_long
        if Effect.CAPTURE_EDGE in effects:
            right = self._in_zone(before.cell) or self._in_zone(after.cell)
            # with a fault no zero is held to be right, so edges need not be told apart
            edge, edge_long = (0 if self.broken is not Broken.NOTHING else 1 if right else 2), False
        if Effect.SET_ZERO in effects:
            zero = NEW_RIGHT if edge == 1 else NEW_WRONG
        if Effect.ZERO_HERE in effects:
            right = self.broken is Broken.NOTHING and self._in_zone(after.cell)
            zero = NEW_RIGHT if right else NEW_WRONG
        if Effect.FORGET_ZERO in effects:
            zero = NO_ZERO
        if Effect.COUNT_RETRY in effects:
            retries = min(retries + 1, self.most_retries)
        if Effect.FORGET_RETRIES in effects:
            retries = 0
        return after._replace(edge=edge, edge_long=edge_long, zero=zero, retries=retries)

    def _in_zone(self, cell: int) -> bool:
        return self.lift.stop <= cell <= self.lift.trip_zone_top

    def _check(self, before: State, row: int, after: State) -> None:
        for invariant in self._wrong(before, row, after):
            if invariant not in self.broke and applies(invariant, self.broken):
                self.broke[invariant] = Broke(invariant, before, after, row)

    def _from_travel(self, state: State) -> bool:
        """The phase began on the travel, or does not look where it began."""
        return not self.asks_entry[state.phase] or state.entry >= self.lift.stop

    def _wrong(self, before: State, row: int, after: State) -> Iterator[Invariant]:
        """Invariants that this loop breaks."""
        way, way_after = self.ways[before.phase], self.ways[after.phase]
        if way < 0:
            if after.run >= 2 and way_after < 0 and not self.lift.stall_sensor:
                yield Invariant.MADE
            if way_after < 0 and before.cell < self.lift.stop and after.cell < self.lift.stop:
                yield Invariant.STOP
        if way < 0 and after.cell == 0 and after.phase == before.phase and self._from_travel(before):
            yield Invariant.GUARD
        if self.roles[after.phase] is Role.FAULTED and way_after != 0:
            yield Invariant.FAULTED
        if row >= 0:
            if self.roles[before.phase] is Role.FAULTED and not self.uses_start[row]:
                yield Invariant.FAULTED
            if self.effects[row] & {Effect.SET_ZERO, Effect.ZERO_HERE}:
                if after.motion != STILL:
                    yield Invariant.STANDING
                if after.zero == NEW_WRONG:
                    yield Invariant.IN_ZONE
            if self.roles[after.phase] is Role.ZEROED and after.zero not in (NEW_RIGHT, NEW_WRONG):
                yield Invariant.HAS_ZERO
