"""States of the exploration, how one came about from another, and the integers that stand for them.

The search visits tens of thousands of states and looks each up many times: packed into one integer a state
costs no more than a number, and what a loop keeps and what it changes are two bit masks.
"""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

from homing.review.invariants import Invariant
from homing.review.physics import STILL, Motion

NO_ZERO, OLD_RIGHT, OLD_WRONG, NEW_RIGHT, NEW_WRONG = range(5)


class State(NamedTuple):
    """What the next loop depends on. ``run``: so many made (positive) or not made readings, 0: none yet;
    ``entry`` and ``last_made``: zones, -1 once they are not known any more.
    """

    phase: int
    cell: int
    motion: Motion
    latch: int
    run: int
    entry: int
    last_made: int
    zero: int
    edge: int
    edge_long: bool
    retries: int
    asked: bool
    struck: bool


class Loop(NamedTuple):
    """How a state came about: from where, what was read, which row was taken (-1: none)."""

    before: State
    row: int


class Broke(NamedTuple):
    """An invariant broken in the loop that led to ``state``; from there it may go round for ever."""

    invariant: Invariant
    before: State
    state: State
    row: int


class Packing:
    """States as integers: a field of bits for each component, the phase lowest.

    ``masks`` and ``shifts`` are named like the components of a state.
    """

    def __init__(self, phases: int, cells: int, speeds: int, most_run: int, most_retries: int) -> None:
        self.most_run = most_run
        self.motions: list[Motion] = [STILL, *product((-1, 1), range(speeds), (1, 2))]
        self.motion_number = {motion: number for number, motion in enumerate(self.motions)}
        sizes = {
            "phase": phases, "cell": cells, "motion": len(self.motions), "latch": 2, "run": 2 * most_run + 1,
            "entry": cells + 1, "last_made": cells + 1, "zero": 5, "edge": 3, "edge_long": 2,
            "retries": most_retries + 1, "asked": 2, "struck": 2,
        }  # fmt: skip
        self.shifts: dict[str, int] = {}
        self.masks: dict[str, int] = {}
        shift = 0
        for name, size in sizes.items():
            bits = (size - 1).bit_length()
            self.shifts[name], self.masks[name] = shift, ((1 << bits) - 1) << shift
            shift += bits
        self._at = tuple(self.shifts.values())
        self._order = tuple(zip(State._fields, self.shifts.values(), self.masks.values(), strict=True))

    def mask(self, *names: str) -> int:
        """The bits of some components."""
        return sum(self.masks[name] for name in names)

    def pack(self, state: State) -> int:
        phase, cell, motion, latch, run, entry, last, zero, edge, edge_long, retries, asked, struck = state
        at = self._at
        return (
            phase
            | cell << at[1]
            | self.motion_number[motion] << at[2]
            | latch << at[3]
            | run + self.most_run << at[4]
            | entry + 1 << at[5]
            | last + 1 << at[6]
            | zero << at[7]
            | edge << at[8]
            | edge_long << at[9]
            | retries << at[10]
            | asked << at[11]
            | struck << at[12]
        )

    def unpack(self, code: int) -> State:
        v = [(code & mask) >> shift for _, shift, mask in self._order]
        return State(
            v[0], v[1], self.motions[v[2]], v[3], v[4] - self.most_run, v[5] - 1, v[6] - 1, v[7], v[8],
            v[9] > 0, v[10], v[11] > 0, v[12] > 0,
        )  # fmt: skip
