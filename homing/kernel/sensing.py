"""The end sensor as hardware: response table, comparator, sampling, contact bursts, faults.

``curve`` is one row of a sensor's response table; see ``sensor_models.mounting``.
"""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled, inlined
from homing.kernel.codes import Fault
from homing.kernel.plant import battery, motor_current
from homing.kernel.random import BURST_STREAM, READING_STREAM, SENSOR_STREAM, bell, four_uniforms
from homing.kernel.step import carriage_between
from sensor_models.response_kernel import look_up

#: A dropped or turned-away target leaves the sensor with nothing to see.
NOTHING = 0.0


@inlined
def signal_at(run: Any, sense: Any, x_m: float) -> float:
    """Signal of the sensor with the carriage at ``x_m``, faults of target and light included."""
    steps = (run.fine_low_m, run.fine_step_m, run.coarse_low_m, run.coarse_step_m)
    value = sense.scale * look_up(sense.curve, steps, x_m + sense.shift_m) + sense.offset
    return float(abs(value) if run.two_sided == 1 else value)


@inlined
def seen_signal(run: Any, sense: Any, x_m: float, seed: int, index: int) -> float:
    """What the comparator is given: the response with faults, noise and quantisation."""
    value = signal_at(run, sense, x_m)
    if run.noise > 0.0:
        u = four_uniforms(seed, index, SENSOR_STREAM, sense.readings * 4096 + sense.changes)
        value += run.noise * bell(u[0], u[1], u[2])
    if run.quantum > 0.0:
        value = math.floor(value / run.quantum) * run.quantum
    return value


@inlined
def compare(run: Any, sense: Any, t: float, x_m: float, seed: int, index: int) -> None:
    """Comparator with hysteresis; a contact that changes starts a burst of bouncing."""
    value = seen_signal(run, sense, x_m, seed, index)
    before = sense.made
    if before == 1 and value <= run.release:
        sense.made = 0
    elif before == 0 and value >= run.operate:
        sense.made = 1
    if sense.made != before:
        sense.changes += 1
        if sense.bounce_s > 0.0:
            u = four_uniforms(seed, index, BURST_STREAM, sense.changes)
            sense.burst_end_s = t + sense.bounce_s * u[0]


@compiled
def power_up(run: Any, sense: Any, x_m: float, chance: float) -> None:
    """Output at power-up: between the thresholds it is undefined, so it is drawn."""
    value = signal_at(run, sense, x_m)
    if value >= run.operate:
        sense.made = 1
    elif value <= run.release:
        sense.made = 0
    else:
        sense.made = 1 if chance < 0.5 else 0
    sense.output = sense.made


@compiled
def apply_fault(run: Any, sense: Any, t: float, x_m: float, chance: float) -> None:
    """Faults that act on the reading itself."""
    if run.fault == Fault.NONE or t < run.fault_onset_s:
        return
    if run.fault == Fault.STUCK_ON:
        sense.reading = 1
    elif run.fault == Fault.STUCK_OFF:
        sense.reading = 0
    elif run.fault == Fault.INVERTED:
        sense.reading = 1 - sense.reading
    elif run.fault == Fault.WIRE_BREAK:
        sense.reading = run.wire_reads_made
    elif run.fault == Fault.HEIGHT_DROPOUT:
        dropped = abs(x_m - run.fault_height_m) < run.fault_span_m and chance < run.fault_size
        sense.reading = run.wire_reads_made if dropped else sense.reading


@compiled
def degrade(run: Any, sense: Any, t: float) -> None:
    """Faults that act on what the sensor sees, from their onset on."""
    if run.fault == Fault.NONE or t < run.fault_onset_s:
        return
    if run.fault == Fault.TARGET_DROPPED:
        sense.scale, sense.offset = 0.0, NOTHING
    elif run.fault == Fault.TARGET_TURNED:
        sense.scale = -1.0
    elif run.fault == Fault.WEAK_TARGET:
        sense.scale = run.fault_size
    elif run.fault == Fault.TARGET_SHIFTED:
        sense.shift_m = run.fault_size
    elif run.fault == Fault.AMBIENT:
        sense.offset = run.fault_size
    elif run.fault == Fault.WORN_CONTACT:
        sense.bounce_s = run.fault_size
    elif run.fault == Fault.NOISE:
        sense.flip_probability = run.fault_size


@compiled
def take_reading(run: Any, body: Any, sense: Any, t: float, x_m: float, seed: int, index: int) -> None:
    """What the controller's input holds at time ``t``, as made (1) or not made (0)."""
    u = (1.0, 1.0, 1.0, 1.0)
    if t < sense.burst_end_s or sense.flip_probability > 0.0 or run.fault == Fault.HEIGHT_DROPOUT:
        # drawn by number, so that not to draw where it decides nothing changes no other draw
        u = four_uniforms(seed, index, READING_STREAM, sense.readings)
    sense.readings += 1
    sense.reading = sense.output
    if t < sense.burst_end_s:
        sense.reading = 1 if u[0] < 0.5 else 0
    if u[1] < sense.flip_probability:
        sense.reading = 1 - sense.reading
    current, _ = motor_current(run, body, t, body.spool_m_s, body.integral_a)
    _, bus_v = battery(run, body, current, body.spool_m_s)
    if bus_v < run.rail_low_v:
        sense.reading = run.wire_reads_made
    apply_fault(run, sense, t, x_m, u[2])


@inlined
def sense_step(run: Any, body: Any, sense: Any, h: float, seed: int, index: int) -> float:
    """Let the sensor live through the last step; returns when its output was last changed to made, or -1."""
    if run.stall_sensor == 1:
        return -1.0
    t0, t1 = body.time_s - h, body.time_s
    turned = -1.0
    degrade(run, sense, t1)
    while run.sample_period_s > 0.0 and sense.next_sample_s <= t1:
        part = max(0.0, (sense.next_sample_s - t0) / h)
        compare(run, sense, sense.next_sample_s, carriage_between(body, h, part), seed, index)
        if sense.made == 1 and sense.output == 0:
            turned = sense.next_sample_s
        sense.output = sense.made
        sense.next_sample_s += run.sample_period_s
    if sense.taken == 0 and sense.read_s <= t1:
        sense.taken = 1
        x = carriage_between(body, h, max(0.0, (sense.read_s - t0) / h))
        if run.sample_period_s <= 0.0:
            turned = max(turned, follow(run, sense, sense.read_s, x, seed, index))
        take_reading(run, body, sense, sense.read_s, x, seed, index)
    if run.sample_period_s <= 0.0:
        turned = max(turned, follow(run, sense, t1, body.carriage_m, seed, index))
    return turned


@inlined
def follow(run: Any, sense: Any, t: float, x_m: float, seed: int, index: int) -> float:
    """Continuous output: compare now; returns ``t`` if the output turned to made, else -1."""
    compare(run, sense, t, x_m, seed, index)
    turned = t if sense.made == 1 and sense.output == 0 else -1.0
    sense.output = sense.made
    return turned
