"""A lift drawn with a ruler, to walk a routine's table without dynamics.

It moves exactly as told, stops at once, and its sensor is made within a window. Around it stand the
routine's own memory (``kernel.observe``) and the state machine; a test may alter what the routine gets to
see in any loop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from homing.kernel.codes import Reason
from homing.kernel.layout import MEMORY, RUN, scratch
from homing.kernel.observe import apply_effects, enter, observe, take_note
from homing.machine import RoutineMachine
from homing.routine import Role, Table, compile_table

COUNTS_PER_M = 10_000.0
PERIOD_S = 0.02


@dataclass
class Loop:
    """One loop as the routine is about to see it.

    ``visits`` counts the phases entered so far, by name; ``next_s`` is the length of the loop to come.
    """

    phase: str
    visits: dict[str, int]
    time_s: float
    height_m: float
    counts: int
    made: int
    next_s: float = PERIOD_S


Alter = Callable[[Loop], None]


@dataclass
class Walk:
    """Where a walk led: phases in the order entered, and the reason if it faulted."""

    phases: list[str]
    reason: Reason = Reason.NONE
    height_m: float = 0.0
    loops: int = 0
    memory: Any = field(default=None, repr=False)


def walk(
    table: Table,
    start_m: float,
    *,
    window_m: tuple[float, float] = (-1.0, 0.03),
    travel_m: float = 0.64,
    referenced: bool = False,
    alter: Alter = lambda loop: None,
    loops: int = 5000,
) -> Walk:
    """Walk the table until it ends, or for so many loops."""
    compiled, machine = compile_table(table), RoutineMachine(table)
    run, memory = scratch(RUN)[0], scratch(MEMORY)[0]
    run.counts_per_m, run.period_s, run.reference_m = COUNTS_PER_M, PERIOD_S, window_m[1]
    memory.tick_s = memory.previous_tick_s = -1.0
    memory.start_requested, memory.has_zero = 1, int(referenced)
    memory.zero_counts = window_m[1] * COUNTS_PER_M
    walked = Walk([machine.phase], height_m=start_m, memory=memory)
    loop = Loop(machine.phase, {}, 0.0, start_m, 0, 0)
    while walked.loops < loops and table.phase(machine.phase).role not in (Role.ZEROED, Role.FAULTED):
        walked.loops += 1
        moved_m = table.phase(machine.phase).command.value * loop.next_s
        walked.height_m = min(max(walked.height_m + moved_m, 0.0), travel_m)
        loop.time_s += loop.next_s
        _see(loop, walked, machine.phase, window_m)
        alter(loop)
        take_note(run, memory, loop.time_s, loop.counts, loop.made)
        number = table.phase_index(machine.phase)
        machine.step(observe(run, memory, compiled.phase_needs[number], compiled.kinds, compiled.parameters))
        if machine.taken is not None:
            apply_effects(memory, sum(machine.effects))
            enter(memory, table.phase_index(machine.phase), table.phase(machine.phase).command.way)
            walked.phases.append(machine.phase)
            walked.reason = machine.taken.reason
            loop.visits[machine.phase] = loop.visits.get(machine.phase, 0) + 1
    return walked


def _see(loop: Loop, walked: Walk, phase: str, window_m: tuple[float, float]) -> None:
    """What a healthy lift shows at its present height."""
    loop.phase, loop.height_m, loop.next_s = phase, walked.height_m, PERIOD_S
    loop.counts = round(walked.height_m * COUNTS_PER_M)
    loop.made = int(window_m[0] < walked.height_m <= window_m[1])
