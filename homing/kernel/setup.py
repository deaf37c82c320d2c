"""State of plant, sensor, routine and measuring at power-up."""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled
from homing.kernel.codes import Coupling, Mode
from homing.kernel.controller import encoder_counts
from homing.kernel.layout import LAGGED
from homing.kernel.observe import enter
from homing.kernel.random import START_STREAM, four_uniforms
from homing.kernel.sensing import power_up
from homing.kernel.step import TOUCH_FLOOR_M_S
from homing.kernel.watch import NEVER


@compiled
def set_up(run: Any, parts: Any, curve: Any, seed: int, index: int) -> None:
    """Prepare the working records for a run."""
    body, sense, memory, watch, clock = parts
    u = four_uniforms(seed, index, START_STREAM, 0)
    set_up_body(run, body)
    set_up_sense(run, sense, u[0])
    sense.curve[:] = curve
    power_up(run, sense, body.carriage_m, u[1])
    sense.reading = sense.output
    set_up_memory(run, body, memory)
    set_up_watch(run, body, watch)
    clock.tick = clock.pending = clock.late_done = clock.reason = clock.rows_traced = 0
    clock.planned_done = clock.turns = clock.turned_way = 0
    for i in range(LAGGED):
        clock.lagged[i] = sense.output
    clock.held_reading = clock.held_counts = 0
    clock.held_until_s = -1.0
    clock.ended_s = clock.zeroed_s = NEVER


@compiled
def set_up_body(run: Any, body: Any) -> None:
    """Carriage at rest at its start height, hanging in a taut string or resting on the stop."""
    on_stop_m = -max(run.gravity_n, 0.0) / run.stop_n_per_m
    hangs = run.start_m > 0.0
    body.time_s = 0.0
    body.carriage_m = run.start_m if hangs else on_stop_m
    body.spool_m = run.start_m + run.gravity_n / run.pull_n_per_m if hangs else 0.0
    if not hangs and run.coupling != Coupling.STRING:
        body.spool_m = on_stop_m  # a stiff drive would otherwise tear the carriage off its stop
    body.onset_spool_m = body.spool_m
    body.spool_m_s = body.carriage_m_s = body.integral_a = 0.0
    body.spool_way = body.carriage_way = 0.0
    body.step_s, body.rates_known = 1.0e-4, 0
    body.touch_low_m_s = body.touch_high_m_s = TOUCH_FLOOR_M_S
    body.line_offset_m = body.supply_loss_v = body.extra_friction_n = 0.0
    body.string_on = body.force_share = body.shorted_share = body.command_sign = 1.0
    body.mode = Mode.OPEN.value


@compiled
def set_up_sense(run: Any, sense: Any, phase: float) -> None:
    """A healthy sensor; a sampling part begins anywhere in its period, and later by what is planned."""
    phase += run.sample_shift
    sense.next_sample_s = (phase - math.floor(phase)) * run.sample_period_s
    sense.burst_end_s, sense.shift_m, sense.scale, sense.offset = -1.0, 0.0, 1.0, 0.0
    sense.bounce_s, sense.flip_probability = run.bounce_s, run.flip_probability
    sense.changes = sense.readings = 0


@compiled
def set_up_memory(run: Any, body: Any, memory: Any) -> None:
    """The routine knows its counts and, if referenced, a height."""
    counts = encoder_counts(run, body, 0)
    memory.tick_s = memory.previous_tick_s = -1.0
    memory.counts = memory.previous_counts = counts
    memory.made_run = memory.clear_run = memory.made = memory.made_before = memory.retries = 0
    memory.long_loop = memory.edge_long = memory.stall_made = 0
    memory.edge_counts = memory.kept_edge_counts = 0.0
    memory.start_requested = 1
    memory.has_zero = run.referenced
    memory.zero_counts = counts
    if run.referenced == 1:
        true_zero = counts - (body.spool_m - run.reference_m) * run.counts_per_m
        memory.zero_counts = true_zero + run.known_height_error_m * run.counts_per_m
    enter(memory, 0, 0)
    memory.entered_s = memory.still_since_s = 0.0


@compiled
def set_up_watch(run: Any, body: Any, watch: Any) -> None:
    """Nothing measured yet; a start below the trip height is watched from where it stands."""
    watch.stop_open = watch.stops = watch.first_touch = watch.in_window = watch.pass_made = 0
    watch.pass_readings = watch.made_outside = watch.accepted_counted = 0
    watch.false_triggers = watch.accepted = watch.missed = 0
    watch.impact_m_s = watch.slack_m = watch.return_slack_m = watch.peak_current_a = 0.0
    watch.overtravel_m = watch.still_since_s = watch.peak_power_w = 0.0
    watch.below_start = 1 if body.carriage_m <= run.trip_m else 0
    watch.start_reference_m = min(body.spool_m, run.trip_m)
    watch.stop_rows[:] = 0.0
    watch.trip_s = watch.out_s = watch.seen_s = watch.react_s = watch.drive_s = watch.loop_end_s = NEVER
