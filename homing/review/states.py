"""States of the exploration, and how one came about from another."""

from __future__ import annotations

from typing import NamedTuple

from homing.review.invariants import Invariant
from homing.review.physics import Motion

NO_ZERO, OLD_RIGHT, OLD_WRONG, NEW_RIGHT, NEW_WRONG = range(5)


class State(NamedTuple):
    """What the next loop depends on. ``run``: so many made (positive) or not made readings; 0: none yet."""

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
