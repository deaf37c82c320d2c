"""One controller loop after the other, from power-up to the end of a run.

Tick order, written here and nowhere else:

1. advance the plant over the period just past;
2. sample the sensor (its own instant and latency, inside step 1);
3. observe: readings and counts to condition bits;
4. choose the first row of the table whose conditions hold;
5. apply its effects;
6. command for the next period, felt after the drive's latency.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from homing.kernel.build import compiled, inlined
from homing.kernel.codes import Asks, Fault, Mode
from homing.kernel.controller import (
    encoder_counts,
    hold_stale,
    lagged,
    next_period,
    order,
    planned_late,
    stall_reading,
    way_of,
)
from homing.kernel.layout import PENDING, STOP_COLUMNS, TRACE_WIDTH
from homing.kernel.observe import LONG_LOOP, apply_effects, choose_row, enter, observe, take_note
from homing.kernel.record import conclude, trace_row
from homing.kernel.sensing import sense_step
from homing.kernel.setup import set_up
from homing.kernel.step import one_step
from homing.kernel.watch import NEVER, note_acceptance, note_reaction, note_reading, note_step, strike

ROLE_ZEROED, ROLE_FAULTED = 3, 4


@inlined
def advance(run: Any, parts: Any, end_s: float, seed: int, index: int) -> None:
    """Let plant and sensor live until ``end_s``."""
    body, sense, memory, watch, _ = parts
    ordered_in = 1 if memory.way < 0 else 0
    while body.time_s < end_s:
        goal = end_s
        if body.mode == Mode.SPEED and body.time_s < body.ramp_end_s < end_s:
            goal = body.ramp_end_s
        h = one_step(run, body, goal)
        turned = sense_step(run, body, sense, h, seed, index)
        note_step(run, body, sense, watch, h, turned, ordered_in)


@compiled
def live_through_period(run: Any, parts: Any, periods: Any, table: Any, seed: int, index: int) -> None:
    """Steps 1 and 2: the period just past, in which commands under way reach the drive."""
    body, sense, memory, watch, clock = parts
    start_s = body.time_s
    length = planned_late(run, body, memory, clock)
    if length == 0.0:
        length = next_period(run, body, clock, periods, seed, index)
    end_s = start_s + length
    sense.read_s, sense.taken = end_s - run.read_before_s, 0
    # a stop keeps the planned end of the late loop that it met
    if watch.stop_open == 0 or watch.loop_end_s == NEVER:
        watch.loop_end_s = start_s + run.period_s if length > LONG_LOOP * run.period_s else NEVER
        watch.loop_over_s = end_s
    while clock.pending > 0 and clock.pending_s[0] <= end_s:
        advance(run, parts, clock.pending_s[0], seed, index)
        phase = clock.pending_phase[0]
        order(run, body, table[0][phase], table[1][phase])
        clock.pending -= 1
        for i in range(clock.pending):
            clock.pending_s[i], clock.pending_phase[i] = clock.pending_s[i + 1], clock.pending_phase[i + 1]
    advance(run, parts, end_s, seed, index)
    clock.tick += 1


@compiled
def hear(run: Any, parts: Any, no_motion_s: float) -> int:
    """Step 3, first half: this loop's reading and counts, noted by the routine and by the measuring."""
    body, sense, memory, watch, clock = parts
    made = stall_reading(run, memory, no_motion_s) if run.stall_sensor == 1 else lagged(run, sense, clock)
    made, counts = hold_stale(run, body, memory, clock, made, encoder_counts(run, body, memory.counts))
    take_note(run, memory, body.time_s, counts, made)
    note_reading(run, body, watch, made)
    return made


@compiled
def take_row(run: Any, parts: Any, table: Any, row: Any, made: int) -> None:
    """Steps 5 and 6: effects of the row taken, and the command of the phase it leads to."""
    body, _, memory, watch, clock = parts
    phase_order, phase_value, phase_role = table[0], table[1], table[2]
    to = row[3]
    came_in = memory.way < 0
    apply_effects(memory, row[4])
    if row[6] & Asks.START:
        memory.start_requested = 0
    enter(memory, to, way_of(phase_order[to], phase_value[to]), row[4])
    if memory.way >= 0 and came_in:
        note_reaction(run, body, watch)
    asked_made = row[6] & Asks.MADE and made == 1
    if memory.way == 0 and asked_made and phase_role[to] != ROLE_FAULTED:
        note_acceptance(run, body, watch)
    if phase_role[to] == ROLE_FAULTED:
        clock.reason, clock.ended_s = row[5], body.time_s
    elif phase_role[to] == ROLE_ZEROED:
        clock.zeroed_s = clock.ended_s = body.time_s
    if clock.pending < PENDING:
        clock.pending_s[clock.pending] = body.time_s + run.drive_latency_s
        clock.pending_phase[clock.pending] = to
        clock.pending += 1


@compiled
def simulate_run(
    run: Any, parts: Any, curve: Any, periods: Any, table: Any, seed: int, index: int, stops: Any, trace: Any,
    result: Any,
) -> None:  # fmt: skip
    """Simulate one run.

    Parameters
    ----------
    run : record ``RUN``
    parts : working records (body, sense, memory, watch, clock)
    curve : (points,) response table of the sensor
    periods : (k,) measured loop periods [s], or empty
    table : arrays of a compiled table, then the time without motion that means a stall [s]
    seed, index : which random numbers
    stops : (MAX_STOPS, STOP_COLUMNS) filled with one row an inward stop; no rows: not told
    trace : (rows, TRACE_WIDTH) filled with one row a loop; no rows: no trace
    result : (columns,) filled
    """
    body, sense, memory, watch, clock = parts
    phase_order, phase_value, _, phase_needs, first_row, rows, kinds, parameters, no_motion_s = table
    set_up(run, parts, curve, seed, index)
    order(run, body, phase_order[0], phase_value[0])
    if body.mode == Mode.SPEED and body.carriage_m > 0.0:
        body.integral_a = run.gravity_n / run.force_n_per_a
    while body.time_s < run.max_time_s and body.time_s < clock.ended_s + run.after_s:
        if run.fault != Fault.NONE:
            strike(run, body)
        live_through_period(run, parts, periods, table, seed, index)
        made = hear(run, parts, no_motion_s)
        bits = observe(run, memory, phase_needs[memory.phase], kinds, parameters)
        chosen = choose_row(rows, first_row, memory.phase, bits)
        if clock.rows_traced < len(trace):
            trace_row(run, body, sense, memory, trace[clock.rows_traced], bits)
            clock.rows_traced += 1
        if chosen >= 0:
            take_row(run, parts, table, rows[chosen], made)
    conclude(run, parts, result)
    stops[:] = watch.stop_rows[: len(stops)]


@compiled
def simulate_block(
    runs: Any, curves: Any, periods: Any, table: Any, seed: int, indices: Any, scratch: Any, results: Any
) -> None:
    """Simulate runs one after the other, without traces.

    Parameters
    ----------
    runs : (n,) records ``RUN``
    curves : (n, points) response tables
    indices : (n,) number of each run, which picks its random numbers
    scratch : arrays of one working record each (body, sense, memory, watch, clock)
    results : (n, columns) filled
    """
    parts = scratch[0][0], scratch[1][0], scratch[2][0], scratch[3][0], scratch[4][0]
    stops = np.zeros((0, STOP_COLUMNS))
    trace = np.zeros((0, TRACE_WIDTH))
    for i in range(len(runs)):
        simulate_run(runs[i], parts, curves[i], periods, table, seed, indices[i], stops, trace, results[i])
