"""What a run leaves behind: a trace row a loop, and one row of measured columns."""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled
from homing.kernel.codes import Ended, Mode
from homing.kernel.controller import encoder_counts
from homing.kernel.observe import declared_height
from homing.kernel.plant import battery, motor_current, pull_back, pull_up, stop_push
from homing.kernel.watch import NEVER, STANDSTILL_M_S, close_stop


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
def zero_error(run: Any, body: Any, memory: Any) -> float:
    """Declared spool height minus true carriage height, at rest with the string taut [m]."""
    counts = encoder_counts(run, body, memory.counts)
    line_m = body.spool_m - body.line_offset_m
    stretch = line_m - body.carriage_m
    if stretch <= 0.0:
        stretch = max(run.gravity_n, 0.0) / run.pull_n_per_m
    return float(declared_height(run, memory, counts) - line_m + stretch)


@compiled
def conclude(run: Any, parts: Any, result: Any) -> None:
    """Close what is open and write the measured columns (``layout.RESULT_COLUMNS``)."""
    body, _, memory, watch, clock = parts
    if watch.stop_open == 1:
        close_stop(run, watch)
    if watch.in_window == 1 and watch.pass_made == 0 and watch.pass_readings >= 3:
        watch.missed += 1
    moving = abs(body.carriage_m_s) > STANDSTILL_M_S or abs(body.spool_m_s) > STANDSTILL_M_S
    result[:] = math.nan
    result[0] = Ended.STILL_RUNNING.value
    result[1], result[2], result[4] = clock.reason, 1.0 if moving else 0.0, run.trip_m
    if clock.zeroed_s < NEVER:
        result[0] = Ended.ZEROED.value
        result[3] = clock.zeroed_s
        result[10] = zero_error(run, body, memory)
    elif clock.ended_s < NEVER:
        result[0] = Ended.FAULTED.value
    stops = watch.stop_rows
    longest = longest_stop(watch.stops, stops)
    if longest >= 0:
        result[5] = stops[longest, 2]
        result[18:25] = stops[longest, 3:10]
    if longest >= 0 or watch.overtravel_m > 0.0:
        result[6] = watch.overtravel_m
    result[7], result[8], result[9] = watch.impact_m_s, watch.slack_m, watch.return_slack_m
    result[11], result[12], result[13] = watch.false_triggers, watch.accepted, watch.missed
    result[14], result[15], result[16], result[17] = (
        watch.peak_current_a,
        body.time_s,
        clock.tick,
        clock.rows_traced,
    )


@compiled
def longest_stop(count: int, stops: Any) -> int:
    """Row of the stop that counts; -1 if there was none."""
    longest = -1
    for i in range(min(count, len(stops))):
        if longest < 0 or stops[i, 2] > stops[longest, 2]:
            longest = i
    return longest
