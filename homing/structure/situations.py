"""Every situation that a phase can meet: which of its conditions hold together, and the row then taken.

A situation is a set of the conditions that the rows of the phase ask for. All sets are listed, without
those that the meaning of the conditions rules out (made and not made at once, past the far limit but not
past the near one). Whatever is not ruled out with certainty stays in, so that a check over all situations
of a phase holds for every run.

Sets are taken out as soon as two of their conditions contradict each other. Conditions of one kind follow
from each other, so that a phase that asks twenty of them has few situations.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Condition
from homing.routine import Ask, Phase, Row, Table

Bools = NDArray[np.bool_]

#: Situations of one phase that are looked through; own choice: a second or so, and some ten megabytes.
MOST_SITUATIONS = 1 << 18

#: Kinds that are harder to meet the smaller their parameter; the others the larger it is.
FALLING = (Condition.BELOW, Condition.EDGES_AGREE)


class TooManySituationsError(ValueError):
    """A phase asks for more than can be looked through."""

    def __init__(self, phase: str, asked: int) -> None:
        super().__init__(f"phase {phase!r} asks {asked} conditions, too many that can hold independently")
        self.phase, self.asked = phase, asked


@dataclass(frozen=True, eq=False)
class Situations:
    """The n situations of one phase.

    ``holds`` is (n, conditions) over ``asks``; ``taken`` (n,) the index of the row taken among ``rows``, or
    -1 where the phase stays.
    """

    phase: Phase
    asks: tuple[Ask, ...]
    rows: tuple[Row, ...]
    holds: Bools
    taken: NDArray[np.int64]

    def some(self, *kinds: Condition) -> Bools:
        """Where a condition of one of these kinds holds, (n,); nowhere if the phase does not ask for any."""
        columns = [number for number, ask in enumerate(self.asks) if ask.kind in kinds]
        return np.asarray(self.holds[:, columns].any(axis=1))

    def hardest(self, kind: Condition) -> Bools:
        """Where all conditions of a kind hold, hence its hardest one, (n,); nowhere if none is asked for."""
        columns = [number for number, ask in enumerate(self.asks) if ask.kind == kind]
        return np.asarray(self.holds[:, columns].all(axis=1)) if columns else self.some(kind)

    def takes(self, fits: Callable[[Row], bool]) -> Bools:
        """Where a row is taken that fits, (n,)."""
        # the last entry answers for -1, no row
        return np.array([*map(fits, self.rows), False])[self.taken]

    @property
    def stays(self) -> Bools:
        """Where no row is taken, (n,)."""
        return np.asarray(self.taken < 0)

    def none_of(self, wrong: Bools, sentence: str) -> Iterator[str]:
        """Say the sentence, with the plainest example, if there is a situation that is wrong."""
        if wrong.any():
            yield f"{self.phase.name}: {sentence} ({self._example(wrong)})"

    def answered(self, where: Bools, rightly: Bools, sentence: str) -> Iterator[str]:
        """Say the sentence if the situations ``where`` do not exist or are not all answered rightly."""
        if not where.any():
            yield f"{self.phase.name}: {sentence} (never asked for)"
        yield from self.none_of(where & ~rightly, sentence)

    def _example(self, where: Bools) -> str:
        """The plainest of some situations, in words."""
        found = np.flatnonzero(where)
        plainest = self.holds[found[np.argmin(self.holds[found].sum(axis=1))]]
        names = [ask.name for ask, holds in zip(self.asks, plainest, strict=True) if holds]
        return "when " + (" and ".join(names) if names else "nothing holds")


def situations(table: Table, phase: Phase) -> Situations:
    """List the situations of a phase.

    Raises
    ------
    TooManySituationsError
        When there are more than ``MOST_SITUATIONS``.
    """
    rows = table.rows_of(phase.name)
    names = dict.fromkeys(name for row in rows for name in (*row.when, *row.unless))
    return _listed(phase, tuple(table.condition(name) for name in names), rows)


# neighbours of a table (mutations of it) share all phases but one
@lru_cache(maxsize=256)
def _listed(phase: Phase, asks: tuple[Ask, ...], rows: tuple[Row, ...]) -> Situations:
    holds = _possible(phase, asks)
    taken = np.full(len(holds), -1, dtype=np.int64)
    names = [ask.name for ask in asks]
    for number, row in reversed(list(enumerate(rows))):
        must, must_not = ([names.index(name) for name in group] for group in (row.when, row.unless))
        taken[holds[:, must].all(axis=1) & ~holds[:, must_not].any(axis=1)] = number
    return Situations(phase, asks, rows, holds, taken)


def _possible(phase: Phase, asks: tuple[Ask, ...]) -> Bools:
    """Every set of conditions that their meaning allows, (n, conditions)."""
    way = phase.command.way
    holds = np.zeros((1, 0), dtype=bool)
    for number, ask in enumerate(asks):
        never = way == 0 and ask.kind in (Condition.NOT_MOVING, Condition.WRONG_WAY)
        with_it = np.zeros(len(holds), dtype=bool) if never else np.ones(len(holds), dtype=bool)
        without = np.ones(len(holds), dtype=bool)
        for earlier in range(number):
            held, other = holds[:, earlier], asks[earlier]
            if implies(ask, other, way):
                with_it &= held
            if implies(other, ask, way):
                without &= ~held
            if excludes(ask, other, way) or excludes(other, ask, way):
                with_it &= ~held
        absent = np.column_stack((holds[without], np.zeros(int(without.sum()), dtype=bool)))
        present = np.column_stack((holds[with_it], np.ones(int(with_it.sum()), dtype=bool)))
        # the newest condition is the highest bit: all sets without it come first
        holds = np.concatenate((absent, present))
        if len(holds) > MOST_SITUATIONS:
            raise TooManySituationsError(phase.name, len(asks))
    return holds


def implies(first: Ask, second: Ask, way: int) -> bool:
    """Whether ``second`` holds whenever ``first`` does, by what they mean (``kernel.observe.holds``)."""
    if first.kind == second.kind:
        return first.a <= second.a if first.kind in FALLING else first.a >= second.a
    return any((first.kind, second.kind) == pair and so for pair, so in _implications(first.a, second.a, way))


def _implications(a: float, b: float, way: int) -> Iterator[tuple[tuple[Condition, Condition], bool]]:
    """Pairs of kinds with parameters ``a`` and ``b``: does the first imply the second."""
    c = Condition
    yield (c.MADE_RUN, c.MADE), a >= 1
    yield (c.BELOW, c.REFERENCED), True
    yield (c.ABOVE, c.REFERENCED), True
    # reached a, and more than a: the second needs room
    yield (c.MOVED_OUT, c.MOVED), a > b
    yield (c.STANDSTILL, c.TIMER_OVER), a > b
    yield (c.NOT_MOVING, c.TIMER_OVER), a > b
    yield (c.NOT_MOVING, c.STANDSTILL), a >= b
    yield (c.STANDSTILL, c.NOT_MOVING), a >= b and way != 0
    yield (c.WRONG_WAY, c.MOVED), a >= b
    yield (c.WRONG_WAY, c.MOVED_OUT), a >= b and way < 0


def excludes(first: Ask, second: Ask, way: int) -> bool:
    """Whether two conditions can never hold together, by what they mean."""
    c, kinds = Condition, (first.kind, second.kind)
    if kinds in ((c.CLEAR_RUN, c.MADE), (c.CLEAR_RUN, c.MADE_RUN)):
        return first.a >= 1 and (second.kind == c.MADE or second.a >= 1)
    if kinds in ((c.CLEAR_BY, c.MADE), (c.CLEAR_BY, c.MADE_RUN)):
        return second.kind == c.MADE or second.a >= 1
    if kinds == (c.BELOW, c.ABOVE):
        return first.a <= second.a
    return kinds == (c.WRONG_WAY, c.MOVED_OUT) and way > 0 and first.a >= 0 and second.a >= 0
