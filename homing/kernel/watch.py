"""What a run is measured by: inward stops and their budget, extremes, triggers, standstill.

A stop opens when the carriage passes the trip height inwards and closes at standstill or when it
has left again. The budget splits the spool's travel at the instants at which the stop's delays
end; the spool's and the carriage's travel differ by stretch and slack, the part ``string``.
"""

from __future__ import annotations

from typing import Any

from homing.kernel.build import compiled, inlined
from homing.kernel.codes import Coupling, Fault
from homing.kernel.plant import battery, line_height, motor_current
from homing.kernel.step import carriage_between, grip_or_slide, spool_between

NEVER = 1.0e300
#: Both slower than this, for the settle time: standstill (contract) [m/s].
STANDSTILL_M_S = 2.0e-3
#: Rows of a stop: trip, deepest, distance, then the seven parts.
PARTS_FROM = 3


@compiled
def mark(body: Any, h: float, when_s: float, spool_m: float) -> float:
    """Spool height at ``when_s`` if that lies in the last step, else what was known of it."""
    t0 = body.time_s - h
    if t0 < when_s <= body.time_s and h > 0.0:
        return float(spool_between(body, h, (when_s - t0) / h))
    return spool_m


@compiled
def open_stop(run: Any, body: Any, watch: Any, h: float, made: int, ordered_in: int) -> None:
    """The carriage has just passed the trip height on its way in."""
    part = (body.old_carriage_m - run.trip_m) / (body.old_carriage_m - body.carriage_m)
    for _ in range(3):
        part -= (carriage_between(body, h, part) - run.trip_m) / (body.carriage_m - body.old_carriage_m)
        part = min(max(part, 0.0), 1.0)
    watch.stop_open = 1
    watch.trip_s = body.time_s - h + part * h
    watch.trip_spool_m = spool_between(body, h, part)
    watch.trip_gap_m = watch.trip_spool_m - run.trip_m
    watch.out_s = watch.seen_s = watch.react_s = watch.drive_s = NEVER
    if made == 1:
        set_out(run, watch, watch.trip_s)
    if ordered_in == 0:
        watch.out_s = watch.seen_s = watch.react_s = watch.drive_s = watch.trip_s
        watch.out_spool_m = watch.seen_spool_m = watch.react_spool_m = watch.drive_spool_m = (
            watch.trip_spool_m
        )
    watch.deepest_m = run.trip_m
    watch.bottom_s = watch.trip_s
    watch.bottom_spool_m, watch.lowest_spool_m = watch.trip_spool_m, watch.trip_spool_m


@compiled
def set_out(run: Any, watch: Any, when_s: float) -> None:
    """The sensor's output turned to made: it can be read after its latency."""
    watch.out_s = max(when_s, watch.trip_s)
    watch.seen_s = watch.out_s + run.sensor_latency_s


@compiled
def room_for_stop(count: int, stops: Any, distance_m: float) -> int:
    """Row for a stop: a free one, else that of the shortest stop if this one is longer; -1 if none."""
    if count < len(stops):
        return count
    shortest = 0
    for i in range(len(stops)):
        if stops[i, 2] < stops[shortest, 2]:
            shortest = i
    return shortest if distance_m > stops[shortest, 2] else -1


@compiled
def close_stop(run: Any, watch: Any) -> None:
    """Write the stop's row: distance and where its millimetres went; when full, the shortest one goes."""
    watch.stop_open = 0
    watch.overtravel_m = max(watch.overtravel_m, run.trip_m - watch.lowest_spool_m)
    place = room_for_stop(watch.stops, watch.stop_rows, run.trip_m - watch.deepest_m)
    watch.stops += 1
    if place < 0:
        return
    row = watch.stop_rows[place]
    row[0], row[1], row[2] = run.trip_m, watch.deepest_m, run.trip_m - watch.deepest_m
    bottom_s, bottom = watch.bottom_s, watch.bottom_spool_m
    out = watch.out_spool_m if watch.out_s < bottom_s else bottom
    seen = watch.seen_spool_m if watch.seen_s < bottom_s else bottom
    react = watch.react_spool_m if watch.react_s < bottom_s else bottom
    drive = watch.drive_spool_m if watch.drive_s < bottom_s else bottom
    late_from = max(watch.loop_end_s, watch.seen_s)
    due = react
    if late_from < min(watch.react_s, bottom_s) and watch.loop_over_s >= watch.seen_s:
        due = watch.loop_end_spool_m if watch.loop_end_s > watch.seen_s else seen
    row[PARTS_FROM] = watch.trip_spool_m - out
    row[PARTS_FROM + 1] = out - seen
    row[PARTS_FROM + 2] = seen - due
    row[PARTS_FROM + 3] = due - react
    row[PARTS_FROM + 4] = react - drive
    row[PARTS_FROM + 5] = drive - bottom
    row[PARTS_FROM + 6] = bottom - watch.deepest_m - watch.trip_gap_m


@compiled
def follow_stop(run: Any, body: Any, watch: Any, h: float, turned_s: float) -> None:
    """Carry an open stop through the last step."""
    if turned_s >= 0.0 and watch.out_s == NEVER:
        set_out(run, watch, turned_s)
    watch.out_spool_m = mark(body, h, watch.out_s, watch.out_spool_m)
    watch.seen_spool_m = mark(body, h, watch.seen_s, watch.seen_spool_m)
    watch.loop_end_spool_m = mark(body, h, watch.loop_end_s, watch.loop_end_spool_m)
    watch.drive_spool_m = mark(body, h, watch.drive_s, watch.drive_spool_m)
    if body.carriage_m < watch.deepest_m:
        watch.deepest_m = body.carriage_m
        watch.bottom_s, watch.bottom_spool_m = body.time_s, body.spool_m
    watch.lowest_spool_m = min(watch.lowest_spool_m, body.spool_m)


@inlined
def note_extremes(run: Any, body: Any, watch: Any) -> None:
    """Slack of both strings, first touch of the hard stop, battery current."""
    height, _ = line_height(run, body, body.spool_m)
    x = body.carriage_m
    if run.coupling == Coupling.STRING:
        watch.slack_m = max(watch.slack_m, x - height, x - body.spool_m)
        if run.return_n_per_m > 0.0:
            loose = body.spool_m - x + run.return_slack_m - run.return_preload_n / run.return_n_per_m
            watch.return_slack_m = max(watch.return_slack_m, loose)
    if watch.first_touch == 0 and body.old_carriage_m > 0.0 and x <= 1.0e-9:
        watch.first_touch = 1
        watch.impact_m_s = max(-body.old_carriage_m_s, -body.carriage_m_s)
    current = body.current_a
    if body.rates_known == 0:  # something changed since the step computed it
        current, _ = motor_current(run, body, body.time_s, body.spool_m_s, body.integral_a)
    note_battery_current(run, body, watch, current)


@compiled
def note_battery_current(run: Any, body: Any, watch: Any, current_a: float) -> None:
    """Largest battery current. It grows with the motor's power, so that most steps need not work it out."""
    motor_v = current_a * run.resistance_ohm + run.back_emf_v_s * run.ratio_rad_per_m * body.spool_m_s
    power_w = current_a * motor_v
    if body.supply_loss_v == 0.0:
        if abs(power_w) < watch.peak_power_w:
            return
        watch.peak_power_w = max(watch.peak_power_w, power_w)
    battery_a, _ = battery(run, body, current_a, body.spool_m_s)
    watch.peak_current_a = max(watch.peak_current_a, abs(battery_a))


@compiled
def note_window(run: Any, body: Any, watch: Any) -> None:
    """Passes of the carriage through the sensor's window; one without a made reading is missed."""
    x = body.carriage_m
    if run.stall_sensor == 1:  # the hard stop has no window to pass through
        return
    if watch.in_window == 0:
        if run.window_low_m < x <= run.trip_m:
            watch.in_window = 1
            watch.pass_made = watch.pass_readings = 0
    elif x <= run.window_low_m or x > run.release_m:
        watch.in_window = 0
        if watch.pass_made == 0:
            watch.missed += 1


@inlined
def note_step(
    run: Any, body: Any, sense: Any, watch: Any, h: float, turned_s: float, ordered_in: int
) -> None:
    """Everything that is measured after an accepted step."""
    note_extremes(run, body, watch)
    note_window(run, body, watch)
    if watch.stop_open == 0 and body.old_carriage_m > run.trip_m >= body.carriage_m:
        open_stop(run, body, watch, h, sense.output, ordered_in)
    if watch.below_start == 1:
        watch.overtravel_m = max(watch.overtravel_m, watch.start_reference_m - body.spool_m)
    if body.carriage_m > run.trip_m:
        watch.below_start = 0
    moving = abs(body.carriage_m_s) > STANDSTILL_M_S or abs(body.spool_m_s) > STANDSTILL_M_S
    if moving:
        watch.still_since_s = body.time_s
    if watch.stop_open == 1:
        follow_stop(run, body, watch, h, turned_s)
        stands = body.time_s - watch.still_since_s >= run.settle_s
        # a reverse wrap lifts the carriage while the spool goes on the wrong way: that is not leaving
        wound_out = body.spool_m - body.line_offset_m > run.trip_m
        left = body.carriage_m > run.release_m and body.carriage_m > watch.deepest_m and wound_out
        if stands or left:
            close_stop(run, watch)


@compiled
def note_reading(run: Any, body: Any, watch: Any, made: int) -> None:
    """Runs of made readings that begin outside the trip zone are false triggers."""
    if watch.in_window == 1:
        watch.pass_readings += 1
        watch.pass_made += made
    if made == 0:
        watch.made_outside = 0
    elif watch.made_outside == 0:
        outside = body.carriage_m > run.zone_high_m
        watch.made_outside = 2 if outside else 1
        watch.accepted_counted = 0
        if outside:
            watch.false_triggers += 1


@compiled
def note_acceptance(run: Any, body: Any, watch: Any) -> None:
    """The routine stopped or zeroed on the present reading."""
    if watch.made_outside == 2 and watch.accepted_counted == 0 and body.carriage_m > run.zone_high_m:
        watch.accepted_counted = 1
        watch.accepted += 1


@compiled
def note_reaction(run: Any, body: Any, watch: Any) -> None:
    """The routine has just stopped coming in; its command reaches the drive after a latency."""
    if watch.stop_open == 1 and watch.react_s == NEVER:
        watch.react_s, watch.react_spool_m = body.time_s, body.spool_m
        watch.drive_s, watch.drive_spool_m = body.time_s + run.drive_latency_s, body.spool_m


@compiled
def strike(run: Any, body: Any) -> None:
    """Faults of string, drive and supply, from their onset on."""
    t = body.time_s
    if t < run.fault_onset_s:
        body.onset_spool_m = body.spool_m
        return
    if run.fault == Fault.HUB_SLIP or run.fault == Fault.STRING_OFF_PULLEY:
        body.line_offset_m = run.fault_size
    elif run.fault == Fault.STRING_BROKEN:
        body.string_on = 0.0
    elif run.fault == Fault.DEAD_MOTOR:
        body.force_share = body.shorted_share = (run.motors - 1.0) / run.motors
    elif run.fault == Fault.MOTORS_OPPOSED:
        body.force_share = (run.motors - 2.0) / run.motors
    elif run.fault == Fault.DRIVE_REVERSED:
        body.command_sign = -1.0
    elif run.fault == Fault.STICKY_SPOT:
        body.extra_friction_n = run.fault_size
    elif run.fault == Fault.SUPPLY_DIP:
        body.supply_loss_v = run.fault_size if t < run.fault_onset_s + run.fault_span_s else 0.0
    body.rates_known = 0
    grip_or_slide(run, body)
