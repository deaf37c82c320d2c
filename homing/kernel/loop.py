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

import math
from typing import Any

import numpy as np

from homing.kernel.build import compiled
from homing.kernel.codes import Ended, Fault, Mode, Order
from homing.kernel.layout import MAX_STOPS, PENDING, STOP_COLUMNS, TRACE_WIDTH
from homing.kernel.observe import LONG_LOOP, apply_effects, choose_row, declared_height, enter, observe, take_note
from homing.kernel.plant import battery, motor_current, pull_back, pull_up, stop_push, target_speed
from homing.kernel.random import LOOP_STREAM, START_STREAM, bell, four_uniforms
from homing.kernel.sensing import power_up, sense_step
from homing.kernel.step import one_step
from homing.kernel.watch import (
    NEVER,
    STANDSTILL_M_S,
    close_stop,
    note_acceptance,
    note_reading,
    note_step,
    strike,
)

ROLE_MOVING, ROLE_ZEROED, ROLE_FAULTED = 1, 3, 4


@compiled
def set_up(run: Any, body: Any, sense: Any, memory: Any, watch: Any, curve: Any, seed: int, index: int) -> None:
    """State at power-up: carriage at rest at its start height, string taut under its load."""
    body.time_s = 0.0
    u = four_uniforms(seed, index, START_STREAM, 0)
    rest = -max(run.gravity_n, 0.0) / run.stop_n_per_m
    body.carriage_m = max(run.start_m, rest)
    hangs = body.carriage_m > 0.0
    body.spool_m = body.carriage_m + (run.gravity_n / run.pull_n_per_m if hangs else 0.0)
    body.carriage_m = body.carriage_m if hangs else rest
    body.spool_m = body.spool_m if hangs else 0.0
    body.spool_m_s = body.carriage_m_s = body.integral_a = 0.0
    body.spool_way = body.carriage_way = 0.0
    body.step_s, body.rates_known = 1.0e-4, 0
    body.touch_low_m_s = body.touch_high_m_s = 0.01
    body.line_offset_m = body.supply_loss_v = body.extra_friction_n = 0.0
    body.string_on = body.force_share = body.command_sign = 1.0
    sense.next_sample_s = u[0] * run.sample_period_s
    sense.burst_end_s, sense.shift_m, sense.scale, sense.offset = -1.0, 0.0, 1.0, 0.0
    sense.bounce_s, sense.flip_probability = run.bounce_s, run.flip_probability
    sense.changes = sense.readings = 0
    power_up(run, sense, curve, body.carriage_m, u[1])
    sense.reading = sense.output
    set_up_memory(run, body, memory, watch)


@compiled
def set_up_memory(run: Any, body: Any, memory: Any, watch: Any) -> None:
    """What the routine and the measuring know at power-up."""
    counts = encoder_counts(run, body, 0, 0.0)
    memory.tick_s = memory.previous_tick_s = -1.0
    memory.counts = memory.previous_counts = counts
    memory.made_run = memory.clear_run = memory.made = memory.retries = 0
    memory.long_loop = memory.edge_long = memory.stall_made = 0
    memory.edge_counts = memory.kept_edge_counts = 0.0
    memory.start_requested = 1
    memory.has_zero = run.referenced
    true_zero = counts - (body.spool_m - run.reference_m) * run.counts_per_m
    memory.zero_counts = true_zero + run.known_height_error_m * run.counts_per_m
    enter(memory, 0, 0)
    memory.entered_s = memory.still_since_s = 0.0
    watch.stop_open = watch.stops = watch.first_touch = watch.in_window = watch.pass_made = 0
    watch.pass_readings = watch.made_outside = watch.accepted_counted = 0
    watch.false_triggers = watch.accepted = watch.missed = 0
    watch.impact_m_s = watch.slack_m = watch.return_slack_m = watch.peak_current_a = 0.0
    watch.overtravel_m = watch.still_since_s = 0.0
    watch.below_start = 1 if body.carriage_m <= run.trip_m else 0
    watch.start_reference_m = min(body.spool_m, run.trip_m)
    watch.trip_s = watch.out_s = watch.seen_s = watch.react_s = watch.drive_s = watch.loop_end_s = NEVER


@compiled
def encoder_counts(run: Any, body: Any, previous: int, moved_since: float) -> int:
    """Counts of the encoder with its faults; ``moved_since`` is the travel since the onset [m]."""
    height = body.spool_m
    if run.fault != Fault.NONE and body.time_s >= run.fault_onset_s:
        if run.fault == Fault.COUNT_FROZEN:
            return previous
        if run.fault == Fault.COUNT_RESET:
            return int(math.floor((body.spool_m - body.onset_spool_m) * run.counts_per_m))
        if run.fault == Fault.COUNT_LOSS:
            height = body.onset_spool_m + (body.spool_m - body.onset_spool_m) * (1.0 - run.fault_size)
    return int(math.floor(height * run.counts_per_m + run.count_phase))


@compiled
def order(run: Any, body: Any, kind: int, value: float) -> None:
    """The drive begins to obey a phase's command."""
    speed = value if kind == Order.SPEED else 0.0
    if kind == Order.SHORTED or kind == Order.OPEN:
        short = kind == Order.SHORTED and not (run.fault == Fault.BRAKE_LOST and body.time_s >= run.fault_onset_s)
        body.mode = Mode.SHORTED.value if short else Mode.OPEN.value
    elif kind == Order.DUTY or run.command == Mode.DUTY:
        body.mode = Mode.DUTY.value
        body.duty = value if kind == Order.DUTY else speed * run.duty_s_per_m
        body.duty = min(max(body.duty, -1.0), 1.0)
    else:
        now = target_speed(run, body, body.time_s) if body.mode == Mode.SPEED else body.spool_m_s
        if body.mode != Mode.SPEED:
            body.integral_a = 0.0
        slowing = abs(speed) < abs(now)
        ramp = run.deceleration_m_s2 if slowing else run.acceleration_m_s2
        body.mode = Mode.SPEED.value
        body.target_m_s, body.ramp_from_m_s, body.ramp_from_s = speed, now, body.time_s
        body.ramp_end_s = body.time_s + abs(speed - now) / ramp
    body.rates_known = 0


@compiled
def way_of(kind: int, value: float) -> int:
    """Direction that a command asks for: -1 inwards, +1 outwards, 0 stop."""
    if kind > Order.DUTY or value == 0.0:
        return 0
    return 1 if value > 0.0 else -1


@compiled
def advance(
    run: Any, body: Any, sense: Any, memory: Any, watch: Any, stops: Any, curve: Any, end_s: float, seed: int, index: int
) -> None:
    """Let plant and sensor live until ``end_s``."""
    while body.time_s < end_s:
        goal = end_s
        if body.mode == Mode.SPEED and body.time_s < body.ramp_end_s < end_s:
            goal = body.ramp_end_s
        h = one_step(run, body, goal)
        turned = sense_step(run, body, sense, curve, h, seed, index)
        note_step(run, body, sense, watch, stops, h, turned, 1 if memory.way < 0 else 0)


@compiled
def next_period(run: Any, body: Any, watch: Any, periods: Any, late_done: int, seed: int, index: int, tick: int) -> float:
    """Length of the coming loop: jitter, rare late loops, measured periods, or an injected one."""
    u = four_uniforms(seed, index, LOOP_STREAM, 2 * tick)
    if late_done == 0 and run.fault == Fault.LATE_LOOP:
        near = body.carriage_m < run.fault_height_m and body.spool_m_s < -STANDSTILL_M_S
        if near and body.time_s >= run.fault_onset_s:
            return float(run.fault_size)
    if len(periods) > 0:
        return float(periods[min(int(u[3] * len(periods)), len(periods) - 1)])
    w = four_uniforms(seed, index, LOOP_STREAM, 2 * tick + 1)
    if w[0] < run.late_probability:
        return float(max(run.late_s, run.period_s))
    jitter = run.jitter_s * bell(u[0], u[1], u[2])
    bound = 0.5 * run.period_s
    return float(run.period_s + min(max(jitter, -bound), bound))


@compiled
def stall_reading(run: Any, memory: Any, no_motion_s: float) -> int:
    """The hard stop as a sensor: made once told inwards and the counts stand, until told outwards."""
    if memory.way > 0:
        memory.stall_made = 0
    elif memory.way < 0 and memory.tick_s - max(memory.still_since_s, memory.entered_s) >= no_motion_s:
        memory.stall_made = 1
    return int(memory.stall_made)


@compiled
def trace_row(run: Any, body: Any, sense: Any, memory: Any, out: Any, bits: int) -> None:
    """What a perfect log would show of this loop."""
    current, _ = motor_current(run, body, body.time_s, body.spool_m_s, body.integral_a)
    battery_a, bus_v = battery(run, body, current, body.spool_m_s)
    up, _ = pull_up(run, body, body.spool_m, body.spool_m_s, body.carriage_m, body.carriage_m_s)
    motor_v = current * run.resistance_ohm + run.back_emf_v_s * run.ratio_rad_per_m * body.spool_m_s
    driven = body.mode == Mode.SPEED or body.mode == Mode.DUTY
    out[0], out[1] = body.time_s, memory.phase
    out[2] = motor_v / bus_v if driven else 0.0
    out[3], out[4], out[5], out[6] = memory.counts, body.spool_m, body.carriage_m, body.carriage_m_s
    out[7], out[8], out[9], out[10] = sense.made, memory.made, battery_a, bus_v
    out[11] = up
    out[12] = pull_back(run, body, body.spool_m, body.spool_m_s, body.carriage_m, body.carriage_m_s)
    low = stop_push(run, -body.carriage_m, -body.carriage_m_s, body.touch_low_m_s)
    out[13] = low - stop_push(run, body.carriage_m - run.travel_m, body.carriage_m_s, body.touch_high_m_s)
    out[14] = bits


@compiled
def simulate_run(
    run: Any, body: Any, sense: Any, memory: Any, watch: Any, curve: Any, periods: Any, table: Any,
    seed: int, index: int, stops: Any, trace: Any, result: Any,
) -> None:  # fmt: skip
    """Simulate one run.

    Parameters
    ----------
    run : record ``RUN``
    body, sense, memory, watch : working records
    curve : (points,) response table of the sensor
    periods : (k,) measured loop periods [s], or empty
    table : arrays of a compiled table
    seed, index : which random numbers
    stops : (MAX_STOPS, STOP_COLUMNS) filled with one row an inward stop
    trace : (rows, columns) filled with one row a loop; no rows: no trace
    result : (columns,) filled
    """
    phase_order, phase_value, phase_role, phase_needs, first_row, rows, kinds, parameters, no_motion_s = table
    set_up(run, body, sense, memory, watch, curve, seed, index)
    body.mode = Mode.OPEN.value
    order(run, body, phase_order[0], phase_value[0])
    if body.mode == Mode.SPEED and body.carriage_m > 0.0:
        body.integral_a = run.gravity_n / run.force_n_per_a
    pending_s = np.full(PENDING, NEVER)
    pending_phase = np.zeros(PENDING, np.int64)
    pending = tick = late_done = reason = rows_traced = 0
    ended_s = zeroed_s = NEVER
    held_reading, held_counts, held_until_s = 0, 0, -1.0
    body.onset_spool_m = body.spool_m
    while body.time_s < run.max_time_s and body.time_s < ended_s + run.after_s:
        start_s = body.time_s
        strike(run, body, start_s)
        if start_s < run.fault_onset_s:
            body.onset_spool_m = body.spool_m
        length = next_period(run, body, watch, periods, late_done, seed, index, tick)
        if run.fault == Fault.LATE_LOOP and length == run.fault_size:
            late_done = 1
        end_s = start_s + length
        sense.read_s = end_s - run.sensor_latency_s
        waiting = watch.stop_open == 1 and watch.react_s == NEVER and watch.loop_end_s < NEVER
        if not waiting:
            watch.loop_end_s = start_s + run.period_s if length > LONG_LOOP * run.period_s else NEVER
        while pending > 0 and pending_s[0] <= end_s:
            advance(run, body, sense, memory, watch, stops, curve, pending_s[0], seed, index)
            order(run, body, phase_order[pending_phase[0]], phase_value[pending_phase[0]])
            pending -= 1
            for i in range(pending):
                pending_s[i], pending_phase[i] = pending_s[i + 1], pending_phase[i + 1]
        advance(run, body, sense, memory, watch, stops, curve, end_s, seed, index)
        tick += 1
        counts = encoder_counts(run, body, memory.counts, 0.0)
        made = stall_reading(run, memory, no_motion_s) if run.stall_sensor == 1 else sense.reading
        if run.fault == Fault.STALE_READINGS:
            near = body.carriage_m < run.fault_height_m and body.spool_m_s < -STANDSTILL_M_S
            if held_until_s < 0.0 and near and body.time_s >= run.fault_onset_s:
                held_reading, held_counts, held_until_s = memory.made, memory.counts, body.time_s + run.fault_size
            if body.time_s < held_until_s:
                made, counts = held_reading, held_counts
        take_note(run, memory, body.time_s, counts, made)
        note_reading(run, body, watch, made)
        phase = memory.phase
        bits = observe(run, memory, phase_needs[phase], kinds, parameters)
        chosen = choose_row(rows, first_row, phase, bits)
        if rows_traced < len(trace):
            trace_row(run, body, sense, memory, trace[rows_traced], bits)
            rows_traced += 1
        if chosen < 0:
            continue
        apply_effects(memory, rows[chosen, 4])
        to = rows[chosen, 3]
        was_in = memory.way < 0
        enter(memory, to, way_of(phase_order[to], phase_value[to]))
        if was_in and memory.way >= 0 and watch.stop_open == 1 and watch.react_s == NEVER:
            watch.react_s, watch.react_spool_m = body.time_s, body.spool_m
            watch.drive_s = body.time_s + run.drive_latency_s
            watch.drive_spool_m = body.spool_m
        if made == 1 and phase_role[to] != ROLE_FAULTED and memory.way >= 0:
            note_acceptance(run, body, watch)
        if phase_role[to] == ROLE_FAULTED:
            reason, ended_s = rows[chosen, 5], body.time_s
        elif phase_role[to] == ROLE_ZEROED:
            zeroed_s = ended_s = body.time_s
        if pending < PENDING:
            pending_s[pending], pending_phase[pending] = body.time_s + run.drive_latency_s, to
            pending += 1
    conclude(run, body, memory, watch, stops, result)
    result[0] = Ended.STILL_RUNNING.value
    if zeroed_s < NEVER:
        result[0] = Ended.ZEROED.value
        result[3] = zeroed_s
        result[10] = zero_error(run, body, memory)
    elif ended_s < NEVER:
        result[0] = Ended.FAULTED.value
    result[1], result[15], result[16], result[17] = reason, body.time_s, tick, rows_traced


@compiled
def zero_error(run: Any, body: Any, memory: Any) -> float:
    """Declared spool height minus true carriage height, at rest with the string taut [m]."""
    counts = encoder_counts(run, body, memory.counts, 0.0)
    offset = declared_height(run, memory, counts) - (body.spool_m - body.line_offset_m)
    stretch = body.spool_m - body.line_offset_m - body.carriage_m
    if stretch <= 0.0:
        stretch = max(run.gravity_n, 0.0) / run.pull_n_per_m
    return float(offset + stretch)


@compiled
def conclude(run: Any, body: Any, memory: Any, watch: Any, stops: Any, result: Any) -> None:
    """Close what is open and write the measured columns."""
    result[:] = math.nan
    if watch.stop_open == 1:
        close_stop(run, watch, stops)
    if watch.in_window == 1 and watch.pass_made == 0 and watch.pass_readings >= 3:
        watch.missed += 1
    moving = abs(body.carriage_m_s) > STANDSTILL_M_S or abs(body.spool_m_s) > STANDSTILL_M_S
    result[2] = 1.0 if moving else 0.0
    result[4] = run.trip_m
    longest = -1
    for i in range(min(watch.stops, len(stops))):
        if longest < 0 or stops[i, 2] > stops[longest, 2]:
            longest = i
    if longest >= 0:
        result[5] = stops[longest, 2]
        result[18:25] = stops[longest, 3:10]
    if longest >= 0 or watch.overtravel_m > 0.0:
        result[6] = watch.overtravel_m
    result[7], result[8], result[9] = watch.impact_m_s, watch.slack_m, watch.return_slack_m
    result[11], result[12], result[13] = watch.false_triggers, watch.accepted, watch.missed
    result[14] = watch.peak_current_a


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
    scratch : working records (body, sense, memory, watch)
    results : (n, columns) filled
    """
    body, sense, memory, watch = scratch
    stops = np.zeros((MAX_STOPS, STOP_COLUMNS))
    trace = np.zeros((0, TRACE_WIDTH))
    for i in range(len(runs)):
        stops[:] = 0.0
        simulate_run(
            runs[i], body[0], sense[0], memory[0], watch[0], curves[i], periods, table, seed, indices[i],
            stops, trace, results[i],
        )  # fmt: skip
