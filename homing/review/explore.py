"""The exhaustive exploration of a table: every fault by itself, the shortest story of what breaks."""

from __future__ import annotations

import gc
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from homing.review.cells import abstract
from homing.review.endless import endless
from homing.review.invariants import Invariant
from homing.review.physics import Broken
from homing.review.results import Exploration, Violation
from homing.review.search import Ground, Walk
from homing.review.states import Broke
from homing.review.story import story

if TYPE_CHECKING:
    from homing.setting import Setting

#: States visited for one fault before the exploration is cut short and says so; own choice, some 20 s.
MOST_STATES = 250_000


def explore(setting: Setting, *, most_states: int = MOST_STATES, cases: bool = True) -> Exploration:
    """Explore the table of a setting against its abstract lift.

    Parameters
    ----------
    setting : Setting
        Its table is explored, its lift gives the numbers.
    most_states : int
        Bound of the states visited for each fault; beyond it the exploration is not complete.
    cases : bool
        Look for runs of the full simulation that do the same as the stories.
    """
    began = time.perf_counter()
    lift = abstract(setting)
    ground = Ground(setting.table, lift)
    walks: list[Walk] = []
    broke: dict[Invariant, list[tuple[Walk, Broke]]] = {}
    with _no_collector():
        for broken in Broken:
            walk = Walk(setting.table, lift, broken, most_states, ground)
            walk.go()
            for each in _broken(walk):
                broke.setdefault(each.invariant, []).append((walk, each))
            walk.forget_edges()
            walks.append(walk)
    seconds = time.perf_counter() - began
    return Exploration(
        states=sum(walk.size for walk in walks),
        transitions=sum(walk.transitions for walk in walks),
        complete=all(walk.complete for walk in walks),
        seconds=seconds,
        violations=tuple(
            _violation(setting, broke[invariant], cases) for invariant in Invariant if invariant in broke
        ),
        states_by_fault={walk.broken.value: walk.size for walk in walks},
    )


def _broken(walk: Walk) -> Iterator[Broke]:
    yield from walk.broke.values()
    without_end = endless(walk) if walk.complete else None
    if without_end is not None:
        yield without_end


def _violation(setting: Setting, found: list[tuple[Walk, Broke]], cases: bool) -> Violation:
    """The first story, sound lift first; its run is sought with its fault, then with the others that break
    it.
    """
    from homing.review.cases import find_case

    tries = found if cases else []
    each = (
        find_case(setting, broke.invariant, walk.broken, walk.lift.cells[_start(walk, broke)])
        for walk, broke in tries
    )
    walk, broke = found[0]
    return Violation(
        invariant=broke.invariant.value,
        fault=walk.broken.value,
        story=story(walk, broke),
        case=next((case for case in each if case is not None), None),
        also=tuple(other.broken.value for other, _ in found[1:]),
    )


def _start(walk: Walk, broke: Broke) -> int:
    state, loop = broke.before, walk.loop_to(broke.before)
    while loop is not None:
        state, loop = loop.before, walk.loop_to(loop.before)
    return state.cell


@contextmanager
def _no_collector() -> Iterator[None]:
    """Without the cyclic collector, which would look through all states again and again and find nothing."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
