"""A simulated lift whose controller is a program outside, asked in lock step, once in every loop.

Plant, sensor, clock and measuring are the kernel's; the routine's part of a loop (observe, choose, effects)
is left out and the program is asked instead. What it orders reaches the drive after the drive's latency.
"""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from typing import Any

import numpy as np
from export_harness import Driven
from numpy.typing import NDArray

from homing.batches import Batch
from homing.export.items import PhaseItem
from homing.export.program import program
from homing.kernel.codes import Fault, Mode, Order
from homing.kernel.controller import order
from homing.kernel.layout import PENDING, RESULT_COLUMNS, new_scratch
from homing.kernel.loop import hear, live_through_period
from homing.kernel.observe import enter
from homing.kernel.record import conclude
from homing.kernel.setup import set_up
from homing.kernel.watch import note_reaction, strike
from homing.routine import Role
from homing.setting import Setting

#: Places for orders on their way to the drive; used in turn, never more at once than may be pending.
PLACES = 4 * PENDING


@dataclass
class Answer:
    """What the program gave back for one loop."""

    phase: int
    order: int
    command: float
    zero_known: bool
    zero_counts: float
    reason: int


class Outside:
    """A program that answers line by line."""

    def __init__(self, driven: Driven, routine: int, first_counts: int) -> None:
        self.process: subprocess.Popen[str] = driven.live()
        self._send(f"R {routine} 0.0 {first_counts} -")

    def step(self, t: float, made: int, counts: int, start: int) -> Answer:
        self._send(f"S {t!r} {made} {counts} {start}")
        assert self.process.stdout is not None
        word = self.process.stdout.readline().split()
        return Answer(
            int(word[0]), int(word[1]), float(word[2]), word[3] == "1", float(word[4]), int(word[6])
        )

    def close(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.stdout.close()
        self.process.wait(timeout=20)

    def _send(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()


def closed_loop(
    setting: Setting, made: Batch, driven: Driven, routine: int
) -> tuple[NDArray[np.float64], list[str]]:
    """Simulate the first run of a batch with the program in charge.

    Returns
    -------
    result : (columns,) as ``homing.kernel.layout.RESULT_COLUMNS``
    phases : the program's phases in the order in which it entered them
    """
    run, curve, index = made.runs[0], made.sensor.signal[0], int(made.indices[0])
    parts = tuple(records[0] for records in new_scratch(setting.error_share))
    body, _, memory, _, clock = parts
    set_up(run, parts, curve, setting.seed, index)
    told = list(setting.kernel_table())
    # the kernel keeps numbers of phases on their way to the drive: here they are places with one order each
    told[0], told[1] = np.zeros(PLACES, dtype=np.int64), np.zeros(PLACES)
    table: Any = tuple(told)
    begin = setting.table.phases[0].command
    order(run, body, int(begin.order), begin.value)
    if body.mode == Mode.SPEED and body.carriage_m > 0.0:
        body.integral_a = run.gravity_n / run.force_n_per_a
    periods = np.empty(0)
    outside = Outside(driven, routine, int(memory.counts))
    phases = program(setting).phases
    visited, place, phase = [phases[0].text], 0, 0
    while body.time_s < run.max_time_s and body.time_s < clock.ended_s + run.after_s:
        if run.fault != Fault.NONE:
            strike(run, body)
        live_through_period(run, parts, periods, table, setting.seed, index)
        reading = hear(run, parts, setting.no_motion_s)
        answer = outside.step(float(body.time_s), int(reading), int(memory.counts), int(clock.tick == 1))
        if answer.phase == phase:
            continue
        phase, place = answer.phase, (place + 1) % PLACES
        visited.append(phases[phase].text)
        scale = 1e-3 if answer.order == Order.SPEED else 1.0
        table[0][place], table[1][place] = answer.order, answer.command * scale
        _obey(run, parts, place, answer, phases[phase])
    outside.close()
    result = np.empty(len(RESULT_COLUMNS))
    conclude(run, parts, result)
    return result, visited


def _obey(run: Any, parts: Any, place: int, answer: Answer, phase: PhaseItem) -> None:
    """Take over what the program says, and send its order on its way."""
    body, _, memory, watch, clock = parts
    came_in = memory.way < 0
    memory.has_zero, memory.zero_counts = int(answer.zero_known), answer.zero_counts
    enter(memory, place, phase.way)
    if memory.way >= 0 and came_in:
        note_reaction(run, body, watch)
    if phase.role is Role.FAULTED:
        clock.reason, clock.ended_s = answer.reason, body.time_s
    elif phase.role is Role.ZEROED:
        clock.zeroed_s = clock.ended_s = body.time_s
    assert clock.pending < PENDING
    clock.pending_s[clock.pending] = body.time_s + run.drive_latency_s
    clock.pending_phase[clock.pending] = place
    clock.pending += 1
