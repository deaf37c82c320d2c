"""The situations of a phase, listed condition by condition, for phases that ask for many.

The same list as ``structure.situations`` gives, in the same order. There every set of conditions is written
down before the impossible ones are taken out, which doubles with each condition; here they are taken out as
soon as two conditions contradict each other. Conditions of one kind follow from each other, so that a phase
that asks twenty of them has few situations.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from homing.kernel.codes import Condition
from homing.routine import Ask, Phase, Row, Table
from homing.structure.situations import Bools, Situations, excludes, implies

#: Situations of one phase that are looked through; own choice: a second or so, and some ten megabytes.
MOST_SITUATIONS = 1 << 18


class TooManySituationsError(ValueError):
    """A phase asks for more than can be looked through."""

    def __init__(self, phase: str, asked: int) -> None:
        super().__init__(f"phase {phase!r} asks {asked} conditions, too many that can hold independently")
        self.phase, self.asked = phase, asked


def listed(table: Table, phase: Phase) -> Situations:
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
