"""The records that the kernels read and write, each field with its unit in its name.

``RUN`` is one drawn lift (constant during a run); the others are working memory of one run.
Kernels take these records, never objects; everything here is SI.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from sensor_models.response_kernel import N_COARSE, N_FINE

#: A numpy recarray of one of the dtypes below; type checkers do not know its fields.
Records: TypeAlias = Any


def _floats(names: str) -> list[tuple[str, str]]:
    return [(name, "f8") for name in names.split()]


def _ints(names: str) -> list[tuple[str, str]]:
    return [(name, "i8") for name in names.split()]


#: One drawn lift: plant, drive, controller, sensor, start and fault of a run.
RUN = np.dtype(
    _floats(
        # carriage
        "mass_kg gravity_n friction_n static_friction_n viscous_n_s_per_m travel_m start_m "
        # stops
        "stop_n_per_m stop_loss stop_lossy_s "
        # coupling of spool and carriage
        "pull_n_per_m pull_n_s_per_m spare_m backlash_m "
        "return_n_per_m return_slack_m return_preload_n take_up_m "
        # drive, reflected to the carriage
        "spool_mass_kg ratio_rad_per_m force_n_per_a motor_friction_n efficiency back_emf_v_s resistance_ohm "
        "motors current_limit_a loop_a_s_per_m loop_a_per_m acceleration_m_s2 deceleration_m_s2 "
        "duty_out duty_out_s_per_m duty_in duty_in_s_per_m "
        "counts_per_m count_phase "
        # battery
        "open_circuit_v battery_ohm other_load_a rail_low_v "
        # controller
        "period_s jitter_s late_probability late_s sensor_latency_s read_before_s drive_latency_s "
        "max_time_s after_s settle_s "
        # loops as planned instead of drawn; 0: nothing planned
        "first_loop_s loop_shift_s sample_shift planned_late_s planned_place "
        # sensor
        "fine_low_m fine_step_m coarse_low_m coarse_step_m operate release sample_period_s bounce_s noise "
        "quantum flip_probability trip_m release_m window_low_m zone_high_m "
        # routine
        "reference_m known_height_error_m "
        # fault
        "fault_onset_s fault_size fault_height_m fault_span_m fault_span_s"
    )
    + _ints(
        "coupling command stall_sensor two_sided reading_lag wire_reads_made referenced fault "
        "planned_way planned_turn"
    )
)

#: Spool, carriage and drive of one run as they move.
BODY = np.dtype(
    _floats(
        "time_s step_s spool_m spool_m_s carriage_m carriage_m_s integral_a "
        # trial state at the end of a step
        "new_spool_m new_spool_m_s new_carriage_m new_carriage_m_s new_integral_a "
        # rates at the start and end of a step
        "rate_spool rate_carriage rate_integral new_rate_spool new_rate_carriage new_rate_integral "
        # current of one motor there
        "current_a new_current_a "
        # direction of sliding: -1, 0 (stuck), +1
        "spool_way carriage_way "
        # state at the start of the last step, for interpolation
        "old_spool_m old_spool_m_s old_carriage_m old_carriage_m_s error_share "
        # what the drive was told
        "target_m_s ramp_from_m_s ramp_from_s ramp_end_s duty touch_low_m_s touch_high_m_s "
        # changed by faults
        "line_offset_m string_on force_share shorted_share supply_loss_v command_sign extra_friction_n "
        "onset_spool_m"
    )
    + _ints("mode rates_known")
)

#: The end sensor as hardware: comparator, held output, contact burst.
SENSE = np.dtype(
    _floats("next_sample_s read_s burst_end_s shift_m scale offset bounce_s flip_probability")
    + _ints("made output reading taken changes readings")
    + [("curve", "f8", (N_FINE + N_COARSE,))]
)

#: What the routine remembers between loops.
MEMORY = np.dtype(
    _floats("entered_s still_since_s tick_s previous_tick_s zero_counts edge_counts kept_edge_counts")
    + _ints(
        "phase way counts previous_counts entry_counts last_made_counts still_counts made_run clear_run made "
        "made_before retries has_zero long_loop edge_long start_requested stall_made"
    )
)

#: Commands that may be under way to the drive at once.
PENDING = 32
#: Loops by which a reading may lag.
LAGGED = 32

#: The controller's clock: loops done, commands under way, what faults hold back, how the run ended.
CLOCK = np.dtype(
    _floats("held_until_s ended_s zeroed_s")
    + _ints(
        "tick pending late_done planned_done turns turned_way held_reading held_counts reason rows_traced"
    )
    + [("pending_s", "f8", (PENDING,)), ("pending_phase", "i8", (PENDING,)), ("lagged", "i8", (LAGGED,))]
)

#: One row a stop: trip, deepest, distance, then the parts of the budget [m].
STOP_COLUMNS = 10
MAX_STOPS = 8

#: What a run is measured by; times and heights of the stop now open, and extremes.
WATCH = np.dtype(
    _floats(
        "trip_s out_s seen_s loop_end_s loop_over_s react_s drive_s bottom_s "
        "trip_spool_m out_spool_m seen_spool_m loop_end_spool_m react_spool_m drive_spool_m bottom_spool_m "
        "trip_gap_m deepest_m lowest_spool_m still_since_s start_reference_m "
        "impact_m_s slack_m return_slack_m overtravel_m peak_current_a peak_power_w"
    )
    + _ints(
        "stop_open stops first_touch in_window pass_made pass_readings made_outside accepted_counted "
        "false_triggers accepted missed below_start"
    )
    + [("stop_rows", "f8", (MAX_STOPS, STOP_COLUMNS))]
)

#: Columns of the trace, one row a loop; SI.
TRACE_COLUMNS = (
    "t_s", "phase", "command_fraction", "counts", "spool_m", "carriage_m", "carriage_m_s",
    "sensor", "reading", "current_a", "battery_v", "string_n", "return_string_n", "stop_n", "bits",
)  # fmt: skip

TRACE_WIDTH = len(TRACE_COLUMNS)

#: Columns of the result of a run; SI, NaN where the quantity does not exist.
RESULT_COLUMNS = (
    "ended", "reason", "moving_at_end", "time_to_zero_s", "trip_m", "stop_distance_m", "overtravel_m",
    "impact_m_s", "slack_m", "return_slack_m", "zero_error_m", "false_triggers", "accepted_false_triggers",
    "missed_triggers", "peak_current_a", "end_s", "ticks", "trace_rows",
    "sensor_age", "reading_delay", "loop_wait", "late_loop", "drive_delay", "braking", "string",
)  # fmt: skip


def scratch(record: np.dtype[Any]) -> Records:
    """One zeroed working record, readable by attribute with and without compilation."""
    return np.zeros(1, record).view(np.recarray)


def new_scratch(error_share: float = 1.0) -> tuple[Records, ...]:
    """Working records of one run (body, sense, memory, watch, clock).

    ``error_share`` scales the error that a step may make, for studies of convergence.
    """
    records = tuple(scratch(record) for record in (BODY, SENSE, MEMORY, WATCH, CLOCK))
    records[0].error_share = error_share
    return records
