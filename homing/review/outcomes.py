"""What may become of a state in one loop: motion, reading, row, effects, and the invariants broken by it.

Worked out once for everything that the present phase looks at; the rest of the state is carried along by a
mask, so that states which differ in it only share the work.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from homing.kernel.codes import Condition, Effect
from homing.review.breaking import Breaking
from homing.review.invariants import Invariant
from homing.review.knowledge import ANYWHERE, Knowledge, Seen
from homing.review.physics import DEAF, STILL, STRIKING, Broken, Moved, Physics
from homing.review.states import NEW_RIGHT, NEW_WRONG, NO_ZERO, Packing, State
from homing.routine import Role, Table

C = Condition
HEIGHTS = (C.REFERENCED, C.BELOW, C.ABOVE, C.MADE_ABOVE)
#: Components that a loop carries along unless a row changes them.
CARRIED = ("zero", "edge", "edge_long", "retries", "asked")


class Way(NamedTuple):
    """One way in which a loop may pass: the state after it is ``state & keep | bits``.

    ``row`` is the row taken (-1: none); ``lasting``: it may stay so though all times are over.
    """

    row: int
    keep: int
    bits: int
    lasting: bool
    wrong: tuple[Invariant, ...]


class Outcomes(Breaking):
    """Ways on from every state of one table with one fault."""

    def __init__(self, table: Table, physics: Physics, knowledge: Knowledge, packing: Packing) -> None:
        super().__init__(table, physics, knowledge)
        self.knowledge, self.packing = knowledge, packing
        self._lay_out()
        self._active = [self._looked_at(number) for number in range(len(table.phases))]
        self._carried = packing.mask(*CARRIED)
        self._phase_mask = packing.masks["phase"]
        self._known: dict[int, tuple[tuple[Way, ...], int]] = {}
        self._known_rows: dict[tuple[object, ...], tuple[Way, ...]] = {}

    def _lay_out(self) -> None:
        table, speeds = self.table, self.physics.speeds
        self.speed_of = [
            speeds.index(self.lift.numbers.speed_m_s(phase)) if phase.command.way else 0
            for phase in table.phases
        ]
        chatters = self.broken is Broken.CHATTER
        self.asks_made = [not chatters and (self.keeps_any or C.CLEAR_BY in asked) for asked in self.asked]
        self.keeps = [Effect.KEEP_CLOCKS in effects for effects in self.effects]
        self.keep_of = [self._kept(number) for number in range(len(table.rows))]
        self._effects_look_at = [self._looked_at_by(number) for number in range(len(table.rows))]

    def _kept(self, row: int) -> int:
        """Bits that a row carries along."""
        effects = self.effects[row]
        names = {"zero"} if self.is_over[self.to[row]] else set(CARRIED)
        if self.uses_start[row]:
            names.discard("asked")
        if Effect.CAPTURE_EDGE in effects:
            names -= {"edge", "edge_long"}
        if effects & {Effect.SET_ZERO, Effect.ZERO_HERE, Effect.FORGET_ZERO}:
            names.discard("zero")
        if effects & {Effect.COUNT_RETRY, Effect.FORGET_RETRIES}:
            names.discard("retries")
        return self.packing.mask(*names)

    def _looked_at_by(self, row: int) -> tuple[int, ...]:
        """Components of the state before on which it depends what a row does, and what that breaks."""
        effects = self.effects[row]
        names = ["cell"] if self.ways_told[self.table.phase_index(self.table.rows[row].source)] else []
        if Effect.CAPTURE_EDGE in effects:
            names = ["cell"]
        names += ["edge"] * (Effect.SET_ZERO in effects)
        names += ["retries"] * (Effect.COUNT_RETRY in effects)
        names += ["zero"] * (self.roles[self.to[row]] is Role.ZEROED)
        names += ["entry"] * (self.table.rows[row].source == self.table.rows[row].to)
        return tuple(State._fields.index(name) for name in names)

    def _looked_at(self, phase: int) -> int:
        """Bits on which it depends what a loop in this phase may bring."""
        asked, name = self.asked[phase], self.table.phases[phase].name
        effects = {effect for row in self.table.rows_of(name) for effect in row.effects}
        ends = any(self.table.phase(row.to).role is Role.ZEROED for row in self.table.rows_of(name))
        names = ["phase", "cell", "motion", "latch", "run", "entry", "last_made", "struck"]
        names += ["zero"] * (ends or bool(asked & set(HEIGHTS)))
        names += ["edge"] * (Effect.SET_ZERO in effects)
        names += ["edge_long"] * (C.EDGE_LONG_LOOP in asked)
        names += ["retries"] * (C.RETRIES_USED in asked or Effect.COUNT_RETRY in effects)
        names += ["asked"] * (C.START in asked)
        return self.packing.mask(*names)

    def tidy(self, state: State) -> State:
        """Leave out what the phase does not ask, so that states that cannot be told apart are one."""
        phase = state.phase
        if self.is_over[phase]:
            return state._replace(
                latch=0, run=0, entry=0, last_made=0, edge=0, edge_long=False, retries=0, asked=False
            )
        entry = state.entry if self.asks_entry[phase] else 0
        return state._replace(entry=entry, last_made=state.last_made if self.asks_made[phase] else 0)

    def ways(self, code: int) -> tuple[tuple[Way, ...], int]:
        """Every way on from a state, alike ones once, and how many there were with these."""
        key = code & self._active[code & self._phase_mask]
        known = self._known.get(key)
        if known is None:
            each = tuple(self._loops(self.packing.unpack(key)))
            known = self._known[key] = (tuple(dict.fromkeys(each)), len(each))
        return known

    def forget(self) -> None:
        """Give back the memory of what is known."""
        self._known, self._known_rows = {}, {}

    def _loops(self, state: State) -> Iterator[Way]:
        way, speed = self.ways_told[state.phase], self.speed_of[state.phase]
        strikes = (False, True) if self.broken in STRIKING and not state.struck else (state.struck,)
        for struck in strikes:
            deaf = self.broken is Broken.CHATTER or (struck and self.broken in DEAF)
            if self.broken is Broken.COUNTS_JUMP and struck and not state.struck:
                entry = ANYWHERE if self.asks_entry[state.phase] else state.entry
                last = ANYWHERE if self.asks_made[state.phase] else state.last_made
                state = state._replace(entry=entry, last_made=last)
            for moved in self.physics.moves(state.cell, state.motion, way, speed, struck):
                still = moved.motion == STILL and state.motion == STILL and moved.cell == state.cell
                for latch, reading in self.physics.readings(moved.cell, state.latch, way, still, struck):
                    # what the sensor says no longer matters where the reading does not follow it
                    yield from self._rows(state, moved, 0 if deaf else latch, reading, still, struck)

    def _rows(
        self, state: State, moved: Moved, latch: int, reading: int, still: bool, struck: bool
    ) -> Iterator[Way]:
        phase, cell, motion = state.phase, moved.cell, moved.motion
        run = self._run(state.run, reading)
        last = cell if reading and self.asks_made[phase] else state.last_made
        running_on = motion != STILL and motion[0] != self.physics.really(self.ways_told[phase])
        jumped = self.broken is Broken.COUNTS_JUMP and struck and not state.struck
        seen = Seen(
            phase, cell, still, running_on, moved.taking_up, run, state.run > 0,
            state.entry, last, state.zero, state.edge_long, state.retries, state.asked, jumped,
        )  # fmt: skip
        rows, patient = self.knowledge.answers(seen)
        after = State(
            phase, cell, motion, latch, run, state.entry, last, 0, 0, False, 0, False, struck
        )  # fmt: skip
        for row in rows:
            if row >= 0:
                yield from self._taken(state, after, row)
            else:
                yield self._stays(state, after, patient and moved.lasting)

    def _stays(self, before: State, after: State, lasting: bool) -> Way:
        wrong = tuple(self._wrong(before, -1, after))
        if self.is_over[after.phase]:
            keep, bits = self.packing.masks["zero"], self.packing.pack(self.tidy(after))
        else:
            keep, bits = self._carried, self.packing.pack(after)
        return Way(-1, keep, bits, lasting and self._settled(before, after), wrong)

    def _settled(self, before: State, after: State) -> bool:
        """Nothing changes any more, or only what may change for ever."""
        settled = abs(after.run) == self.packing.most_run or self.broken is Broken.CHATTER
        return settled and before.cell == after.cell and before.motion == after.motion

    def _run(self, run: int, reading: int) -> int:
        most = self.packing.most_run
        if reading:
            return min(run + 1, most) if run > 0 else 1
        return max(run - 1, -most) if run < 0 else -1

    def _taken(self, before: State, after: State, row: int) -> tuple[Way, ...]:
        """What a row's effects make of it; in a late loop an edge may or may not be trusted."""
        looked = self._effects_look_at[row]
        key = (
            row, after.cell, after.motion, after.latch, after.run, after.struck,
            *(before[i] for i in looked), *((after.entry, after.last_made) if self.keeps[row] else ()),
        )  # fmt: skip
        known = self._known_rows.get(key)
        if known is None:
            known = self._known_rows[key] = tuple(self._entered(before, after, row))
        return known

    def _entered(self, before: State, after: State, row: int) -> Iterator[Way]:
        effects = self.effects[row]
        changed = after._replace(phase=self.to[row])
        if not self.keeps[row]:
            changed = changed._replace(entry=after.cell, last_made=after.cell)
        if effects:
            changed = self._with_effects(before, changed, effects)
        wrong = tuple(self._wrong(before, row, changed))
        keep = self.keep_of[row]
        yield Way(row, keep, self.packing.pack(self.tidy(changed)), False, wrong)
        if Effect.CAPTURE_EDGE in effects and self.broken is Broken.LATE:
            doubted = self.tidy(changed._replace(edge_long=True))
            yield Way(row, keep, self.packing.pack(doubted), False, wrong)

    def _with_effects(self, before: State, after: State, effects: frozenset[Effect]) -> State:
        edge, zero, retries = before.edge, NO_ZERO, 0
        captured = 0
        if Effect.CAPTURE_EDGE in effects:
            right = self._in_zone(before.cell) or self._in_zone(after.cell)
            # with a fault no zero is held to be right, so edges need not be told apart
            edge = captured = 0 if self.broken is not Broken.NOTHING else 1 if right else 2
        if Effect.SET_ZERO in effects:
            zero = NEW_RIGHT if edge == 1 else NEW_WRONG
        if Effect.ZERO_HERE in effects:
            right = self.broken is Broken.NOTHING and self._in_zone(after.cell)
            zero = NEW_RIGHT if right else NEW_WRONG
        if Effect.FORGET_ZERO in effects:
            zero = NO_ZERO
        if Effect.COUNT_RETRY in effects and Effect.FORGET_RETRIES not in effects:
            retries = min(before.retries + 1, self.knowledge.most_retries)
        return after._replace(edge=captured, zero=zero, retries=retries)
