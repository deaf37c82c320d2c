"""The kernel's own routine, loop by loop, and a lift with bad manners that it commands.

What the routine does is the kernel's code (``take_note``, ``observe``, ``choose_row``, ``apply_effects``,
``enter``, ``stall_reading``); only the lift around it is made up, crude on purpose: it slips, sticks, drifts
and jumps, its sensor chatters, sticks and flickers, its loops are late.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from homing.kernel.build import compiled
from homing.kernel.codes import Asks
from homing.kernel.controller import stall_reading, way_of
from homing.kernel.observe import apply_effects, choose_row, declared_height, enter, observe, take_note

#: Columns of what the routine gave back: phase, zero known, zero, height [m], reason code, row taken.
PHASE, KNOWN, ZERO, HEIGHT, REASON, TAKEN = range(6)
FAULTED = 4
#: Loops after the end that are still driven.
AFTER = 8


@compiled
def one_loop(
    run: Any, memory: Any, table: Any, reason: int, t: float, reading: int, counts: int, out: Any
) -> int:
    """The routine's part of one loop of ``homing.kernel.loop``; returns the reason after it."""
    order, value, role, needs, first_row, rows, kinds, parameters, no_motion_s = table
    made = stall_reading(run, memory, no_motion_s) if run.stall_sensor == 1 else reading
    take_note(run, memory, t, counts, made)
    bits = observe(run, memory, needs[memory.phase], kinds, parameters)
    chosen = choose_row(rows, first_row, memory.phase, bits)
    if chosen >= 0:
        row = rows[chosen]
        to = row[3]
        apply_effects(memory, row[4])
        if row[6] & Asks.START:
            memory.start_requested = 0
        enter(memory, to, way_of(order[to], value[to]), row[4])
        if role[to] == FAULTED:
            reason = row[5]
    out[PHASE], out[KNOWN], out[ZERO] = memory.phase, memory.has_zero, memory.zero_counts
    out[HEIGHT] = declared_height(run, memory, memory.counts)
    out[REASON], out[TAKEN] = reason, chosen
    return int(reason)


@compiled
def tell(
    run: Any, memory: Any, table: Any, time_s: Any, reading: Any, counts: Any, start: Any, out: Any
) -> None:
    """Feed inputs that were made before."""
    reason, held = 0, 0
    for i in range(len(time_s)):
        if start[i] == 1 and held == 0:
            memory.start_requested = 1
        held = start[i]
        reason = one_loop(run, memory, table, reason, time_s[i], reading[i], counts[i], out[i])


@compiled
def misbehave(
    run: Any, memory: Any, table: Any, seed: int, first: int, window: Any,
    time_s: Any, reading: Any, counts: Any, start: Any, out: Any,
) -> int:  # fmt: skip
    """Let the routine command a lift with bad manners; returns how many loops were lived."""
    np.random.seed(seed)
    order, value, role = table[0], table[1], table[2]
    low_m, trip_m, start_m = window[0], window[1], window[2]
    manners = np.random.random(12)
    healthy = manners[0] < 0.25
    flip = 0.0 if healthy else 0.02 * max(manners[1] - 0.5, 0.0)
    late = 0.002 if healthy else 0.1 * max(manners[2] - 0.6, 0.0)
    jump = 0.0 if healthy else 0.01 * max(manners[3] - 0.8, 0.0)
    lag = 0.3 + 0.7 * manners[4]
    speed_share = 1.0 + 0.4 * (manners[5] - 0.5)
    # trouble begins some loops after a phase is first entered, and mostly stays
    turn_phase, delay, turn = np.random.randint(0, len(role)), np.random.randint(0, 12), len(time_s)
    trouble = 0 if healthy else np.random.randint(0, 11)
    other = trouble if manners[9] < 0.6 else np.random.randint(0, 11)
    lasts = len(time_s) if manners[10] < 0.7 else np.random.randint(1, 80)
    pressed, again = np.random.randint(0, 4), np.random.randint(5, 400)
    height, speed, offset, t, reason, held, ended = start_m, 0.0, 0, 0.0, 0, 0, 0
    drift_m, seen_counts = 0.0, first
    for i in range(len(time_s)):
        u = np.random.random(6)
        loop_s = run.period_s * (0.8 + 0.4 * u[0])
        if u[1] < late:
            loop_s = run.period_s * (1.4 + 6.0 * u[2])
        told = value[memory.phase] if order[memory.phase] <= 1 else 0.0
        share, stuck = speed_share, -1
        if memory.phase == turn_phase and turn == len(time_s):
            turn = i + delay
        if turn < i <= turn + lasts:
            if trouble == 1 or other == 1:
                share = 0.0
            if trouble == 2:
                share = -0.7
            if trouble == 3 or other == 3:
                stuck = 1
            if trouble == 4 or other == 4:
                stuck = 0
            if trouble == 5 and told == 0.0:
                told, share = 1.5 * (manners[7] - 0.5), 1.0
            if trouble == 6:
                drift_m += 0.0004 * (u[3] - 0.3)
            if trouble == 8 or other == 8:
                share = 0.02 + 12.0 * manners[8] ** 4
            if trouble == 9 or other == 9:
                stuck = i % 2 if manners[11] < 0.5 else int(2.0 * u[4])
            if trouble == 10:
                offset += int(200.0 * (u[4] - 0.5) * manners[11])
        speed += lag * (share * told - speed)
        height = min(max(height + speed * loop_s, -0.002), 3.0)
        if u[1] > 1.0 - jump:
            offset += int(4000.0 * (u[2] - 0.5))
        if trouble != 7 or i <= turn or i > turn + 15:
            seen_counts = first + offset + int(np.floor((height - start_m) * run.counts_per_m + 0.4 * u[3]))
        made = 1 if low_m < height + drift_m <= trip_m else 0
        if abs(height - trip_m) < 0.001 and u[4] < 0.3:
            made = 1 - made
        if u[5] < flip:
            made = 1 - made
        if stuck >= 0:
            made = stuck
        t += loop_s
        asked = 1 if pressed <= i < pressed + 6 or again <= i < again + 2 else 0
        time_s[i], reading[i], counts[i], start[i] = t, made, seen_counts, asked
        if asked == 1 and held == 0:
            memory.start_requested = 1
        held = asked
        reason = one_loop(run, memory, table, reason, t, made, seen_counts, out[i])
        ended = ended + 1 if role[memory.phase] >= FAULTED - 1 else 0
        if ended > AFTER:
            return i + 1
    return len(time_s)
