"""Breadth-first exploration of a table against the abstract lift, one fault at a time.

A state is what the next loop depends on; components that the present phase does not ask are left out. The
first state found that breaks an invariant is reached by a shortest story, since all states of a story's
length are visited before any longer one.
"""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition
from homing.review.cells import AbstractLift, table_speeds
from homing.review.invariants import Invariant
from homing.review.knowledge import Knowledge
from homing.review.outcomes import Outcomes
from homing.review.physics import STILL, Broken, Physics
from homing.review.states import NO_ZERO, OLD_RIGHT, OLD_WRONG, Broke, Loop, Packing, State
from homing.routine import Role, Table

C = Condition
#: Longest run of equal readings and most retries told apart; beyond, either is possible.
MOST_RUN, MOST_RETRIES = 4, 4
#: Faults that alter what the conditions say.
TELLING = (Broken.CHATTER, Broken.REVERSED, Broken.COUNTS_JUMP, Broken.COUNTS_LOST)


class Ground:
    """What the explorations of one table share, whatever is broken in its lift."""

    def __init__(self, table: Table, lift: AbstractLift) -> None:
        self.table, self.lift = table, lift
        self.speeds = table_speeds(table, lift.numbers) or (0.0,)
        asked = {kind: [int(ask.a) for ask in table.conditions if ask.kind == kind] for kind in C}
        runs = [*asked[C.MADE_RUN], *asked[C.CLEAR_RUN]]
        self.most_run = min(MOST_RUN, max([2, *runs]))
        self.most_retries = min(MOST_RETRIES, max([0, *asked[C.RETRIES_USED]]))
        self.packing = Packing(
            len(table.phases), len(lift.cells), len(self.speeds), self.most_run, self.most_retries
        )
        self._knowledge: dict[Broken, Knowledge] = {}

    def knowledge(self, broken: Broken) -> Knowledge:
        """What conditions say, with one memory for all faults that make no difference to it."""
        like = broken if broken in TELLING else Broken.NOTHING
        if like not in self._knowledge:
            self._knowledge[like] = Knowledge(
                self.table, self.lift, self.most_run, self.most_retries, broken=like
            )
        return self._knowledge[like]


class Walk:
    """All states of one table with one fault, numbered in the order in which they were met."""

    def __init__(
        self,
        table: Table,
        lift: AbstractLift,
        broken: Broken,
        most_states: int,
        ground: Ground | None = None,
    ) -> None:
        ground = ground if ground is not None else Ground(table, lift)
        self.table, self.lift, self.broken, self.most_states = table, lift, broken, most_states
        self.packing = ground.packing
        self.outcomes = Outcomes(
            table,
            Physics(lift, ground.speeds, broken),
            ground.knowledge(broken),
            ground.packing,
        )
        self.codes: list[int] = []
        self.came_from: list[tuple[int, int]] = []
        self.transitions = 0
        self.complete = True
        self.broke: dict[Invariant, Broke] = {}
        #: Before, after and row of every loop, one after the other: a flat list becomes an array quickly.
        self.edges: list[int] = []
        self.lasting: list[tuple[int, int]] = []
        self._number: dict[int, int] = {}

    def starts(self) -> Iterator[State]:
        """At rest anywhere on the travel, a start requested, with or without a height from before."""
        zeros = (OLD_WRONG,) if self.broken is Broken.WRONG_HEIGHT else (NO_ZERO, OLD_RIGHT)
        for cell in range(self.lift.top, self.lift.stop - 1, -1):
            sees = self.lift.cells[cell].sees
            for zero in zeros:
                for latch in (0, 1) if sees < 0 else (sees,):
                    state = State(0, cell, STILL, latch, 0, cell, cell, zero, 0, False, 0, True, False)
                    yield self.outcomes.tidy(state)

    def go(self) -> None:
        """Visit everything that can be reached, or as much as is allowed."""
        for state in self.starts():
            self._meet(self.packing.pack(state), -1, -1)
        phase_of, ended = self.packing.masks["phase"], self._ended()
        codes, ways_of = self.codes, self.outcomes.ways
        for number, code in enumerate(codes):  # grows while it is gone through
            if len(codes) > self.most_states:
                self.complete = False
                return
            ways, count = ways_of(code)
            self.transitions += count
            goes_on = not ended[code & phase_of]
            for row, keep, bits, lasting, wrong in ways:
                after = self._meet(code & keep | bits, number, row)
                if wrong:
                    self._note(wrong, number, after, row)
                if goes_on:
                    self.edges += (number, after, row)
                    if lasting:
                        self.lasting.append((number, after))

    def _meet(self, code: int, before: int, row: int) -> int:
        """The number of a state; a new one is noted with where it came from."""
        number = self._number.get(code)
        if number is None:
            number = self._number[code] = len(self.codes)
            self.codes.append(code)
            self.came_from.append((before, row))
        return number

    def _ended(self) -> list[bool]:
        return [phase.role in (Role.ZEROED, Role.FAULTED) for phase in self.table.phases]

    def _note(self, wrong: tuple[Invariant, ...], before: int, after: int, row: int) -> None:
        for invariant in wrong:
            if invariant not in self.broke:
                self.broke[invariant] = Broke(invariant, self.state(before), self.state(after), row)

    def forget_edges(self) -> None:
        """Give back the memory of what only the search for endless runs needs."""
        self.edges, self.lasting = [], []
        self.outcomes.forget()

    @property
    def size(self) -> int:
        """How many states were met."""
        return len(self.codes)

    def state(self, number: int) -> State:
        return self.packing.unpack(self.codes[number])

    def loop_to(self, state: State) -> Loop | None:
        """The loop in which a state was first met; None for a start."""
        before, row = self.came_from[self._number[self.packing.pack(state)]]
        return None if before < 0 else Loop(self.state(before), row)

    def found(self) -> Iterator[State]:
        """Every state, in the order in which they were met."""
        return map(self.packing.unpack, self.codes)
