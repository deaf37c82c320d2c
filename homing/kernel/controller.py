"""The controller around the routine: its clock, its encoder, its commands to the drive."""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled
from homing.kernel.codes import Fault, Mode, Order
from homing.kernel.layout import LAGGED
from homing.kernel.plant import target_speed
from homing.kernel.random import LOOP_STREAM, bell, four_uniforms
from homing.kernel.step import grip_or_slide
from homing.kernel.watch import STANDSTILL_M_S


@compiled
def encoder_counts(run: Any, body: Any, previous: int) -> int:
    """Counts of the encoder, which sees the spool and never the carriage, with its faults."""
    height, phase = body.spool_m, run.count_phase
    if run.fault != Fault.NONE and body.time_s >= run.fault_onset_s:
        since = body.spool_m - body.onset_spool_m
        if run.fault == Fault.COUNT_FROZEN:
            return previous
        if run.fault == Fault.COUNT_RESET:
            height, phase = since, 0.0
        elif run.fault == Fault.COUNT_LOSS:
            height = body.onset_spool_m + since * (1.0 - run.fault_size)
    counts: int = math.floor(height * run.counts_per_m + phase)
    return counts


@compiled
def order(run: Any, body: Any, kind: int, value: float) -> None:
    """The drive begins to obey a phase's command."""
    speed = value if kind == Order.SPEED else 0.0
    if kind == Order.SHORTED or kind == Order.OPEN:
        short = kind == Order.SHORTED and not (
            run.fault == Fault.BRAKE_LOST and body.time_s >= run.fault_onset_s
        )
        body.mode = Mode.SHORTED.value if short else Mode.OPEN.value
    elif kind == Order.DUTY or run.command == Mode.DUTY:
        body.mode = Mode.DUTY.value
        body.duty = value if kind == Order.DUTY else duty_for(run, speed)
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
    grip_or_slide(run, body)


@compiled
def duty_for(run: Any, speed: float) -> float:
    """Duty that the program sends for a speed: the motor line at the nominal load, eq. (10)."""
    if speed > 0.0:
        return float(run.duty_out + run.duty_out_s_per_m * speed)
    if speed < 0.0:
        return float(run.duty_in + run.duty_in_s_per_m * speed)
    return 0.0


@compiled
def way_of(kind: int, value: float) -> int:
    """Direction that a command asks for: -1 inwards, +1 outwards, 0 stop."""
    if kind > Order.DUTY or value == 0.0:
        return 0
    return 1 if value > 0.0 else -1


@compiled
def near_trip(run: Any, body: Any) -> bool:
    """Where faults of timing strike: coming in, at the height drawn for them."""
    coming = body.carriage_m < run.fault_height_m and body.spool_m_s < -STANDSTILL_M_S
    return bool(coming and body.time_s >= run.fault_onset_s)


@compiled
def next_period(run: Any, body: Any, clock: Any, periods: Any, seed: int, index: int) -> float:
    """Length of the coming loop: jitter, rare late loops, measured periods, or an injected late one.

    A planned first loop says where in its period the controller begins; a planned shift makes every loop
    longer by as much.
    """
    if run.fault == Fault.LATE_LOOP and clock.late_done == 0 and near_trip(run, body):
        clock.late_done = 1
        return float(run.fault_size)
    if run.first_loop_s > 0.0 and clock.tick == 0:
        return float(run.first_loop_s)
    u = four_uniforms(seed, index, LOOP_STREAM, 2 * clock.tick)
    if len(periods) > 0:
        return float(periods[min(int(u[3] * len(periods)), len(periods) - 1)])
    w = four_uniforms(seed, index, LOOP_STREAM, 2 * clock.tick + 1)
    if w[0] < run.late_probability:
        return float(max(run.late_s, run.period_s))
    jitter = run.loop_shift_s + run.jitter_s * bell(u[0], u[1], u[2])
    bound = 0.5 * run.period_s
    return float(run.period_s + min(max(jitter, -bound), bound))


@compiled
def planned_late(run: Any, body: Any, memory: Any, clock: Any) -> float:
    """Length of the one late loop that was planned for this run, if it begins now; else 0.

    It begins at a time, or at a height on the n-th way in or out that the routine commands.
    """
    if run.planned_late_s == 0.0 or clock.planned_done == 1:
        return 0.0
    if memory.way != clock.turned_way:
        clock.turned_way = memory.way
        clock.turns += 1 if memory.way == run.planned_way else 0
    if run.planned_way == 0:
        due = body.time_s >= run.planned_place
    else:
        there = (body.carriage_m - run.planned_place) * run.planned_way >= 0.0
        due = there and memory.way == run.planned_way and clock.turns == run.planned_turn
    clock.planned_done = 1 if due else 0
    return float(run.planned_late_s) if due else 0.0


@compiled
def stall_reading(run: Any, memory: Any, no_motion_s: float) -> int:
    """The hard stop as a sensor: made once told inwards and the counts stand, until told outwards."""
    if memory.way > 0:
        memory.stall_made = 0
    elif memory.way < 0 and memory.tick_s - max(memory.still_since_s, memory.entered_s) >= no_motion_s:
        memory.stall_made = 1
    return int(memory.stall_made)


@compiled
def lagged(run: Any, sense: Any, clock: Any) -> int:
    """Reading as it arrives: a latency of several loops delivers that of some loops ago."""
    clock.lagged[clock.tick % LAGGED] = sense.reading
    return int(clock.lagged[(clock.tick - run.reading_lag) % LAGGED])


@compiled
def hold_stale(run: Any, body: Any, memory: Any, clock: Any, made: int, counts: int) -> tuple[int, int]:
    """Reading and counts as the routine gets them: those of before while they are held stale."""
    if run.fault != Fault.STALE_READINGS:
        return made, counts
    if clock.held_until_s < 0.0 and near_trip(run, body):
        clock.held_reading, clock.held_counts = memory.made, memory.counts
        clock.held_until_s = body.time_s + run.fault_size
    if body.time_s < clock.held_until_s:
        return clock.held_reading, clock.held_counts
    return made, counts
