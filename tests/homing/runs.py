"""Single runs under a test's control: the nominal lift, fields of its record set by hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from homing.batches import Batch, nominal_batch
from homing.kernel.codes import Fault
from homing.kernel.layout import RESULT_COLUMNS, new_scratch
from homing.kernel.loop import simulate_block
from homing.liftfile import Lift
from homing.results import Run
from homing.setting import Setting, prepare
from homing.simulate import traced

FROM_START_S = 0.0

#: A mast of two stages; loop 20 ms, sensor 2 ms, drive 3 ms. Much of its string's damping is for the tests:
#: what swings at the trip would blur the delays that are worked out at constant speed.
STEADY: dict[str, Any] = {
    "lift": {
        "name": "steady mast",
        "travel_mm": 640,
        "incline_deg": 90,
        "moving_mass_kg": 1.2,
        "friction_n": 5.0,
        "viscous_n_s_per_m": 6.0,
        "sway_mm": 0.5,
        "start_mm": 320,
    },
    "drive": {
        "motor": "brushed-36mm-12v",
        "motors": 2,
        "gear_ratio": 19.2,
        "spool_diameter_mm": 38,
        "travel_per_line": 2,
        "encoder_counts_per_rev": 28,
        "speed_loop_time_constant_ms": 35,
        "acceleration_mm_s2": 2500,
        "deceleration_mm_s2": 4000,
        "current_limit_a": 15,
    },
    "string": {"stiffness_n_per_mm": 12.0, "damping_n_s_per_m": 60.0, "spare_line_mm": 200},
    "stop": {"stiffness_n_per_mm": 60.0, "restitution": 0.35},
    "battery": {"open_circuit_v": 13.0, "resistance_ohm": 0.12, "other_load_a": 1.0},
    "controller": {
        "period_ms": 20,
        "jitter_ms": 3,
        "late_loop_probability": 0.0005,
        "late_loop_ms": 120,
        "sensor_latency_ms": 2,
        "drive_latency_ms": 3,
    },
    "sensor": [
        {
            "name": "bottom",
            "part": "hall-unipolar-12mt",
            "magnet": {"shape": "block", "size_mm": [30, 10, 3], "grade": "N42"},
            "mount_mm": 15,
            "gap_mm": 3,
        }
    ],
    "routine": {
        "fast_speed_mm_s": 180,
        "creep_speed_mm_s": 30,
        "first_lift_mm": 40,
        "back_off_mm": 10,
        "settle_ms": 120,
        "no_motion_ms": 400,
        "timeout_s": 8,
        "leave_limit_mm": 150,
        "travel_guard_mm": 736,
    },
    "requirements": {"time_to_zero_s": 11.0, "peak_current_a": 20},
    "tolerances": {
        "lift.friction_n": "30%",
        "lift.moving_mass_kg": "10%",
        "battery.open_circuit_v": 0.8,
        "sensor.bottom.gap_mm": 1.0,
        "sensor.bottom.mount_mm": 0.5,
    },
}


def made_with(setting: Setting, **fields: Any) -> Batch:
    """The nominal run of a setting, ready for the kernel, with some fields of its record set."""
    made = nominal_batch(setting)
    for name, value in fields.items():
        made.runs[name] = value
    return made


def run_with(study: Setting | Lift, **fields: Any) -> Run:
    """The nominal run with its trace; ``fields`` are those of ``kernel.layout.RUN``, in SI."""
    setting = study if isinstance(study, Setting) else prepare(study)
    return traced(setting, made_with(setting, **fields), None)


def run_faulted(
    study: Setting | Lift, fault: Fault, size: float = 0.0, onset_s: float = FROM_START_S, **fields: Any
) -> Run:
    """The nominal run with one fault in it."""
    chosen = {"fault": int(fault), "fault_size": size, "fault_onset_s": onset_s, "fault_span_m": 0.02}
    return run_with(study, **{**chosen, "fault_span_s": 0.3, "max_time_s": 20.0, **fields})


def columns_with(study: Setting | Lift, **fields: Any) -> dict[str, float]:
    """What the kernel itself hands over for such a run, SI, by the names of ``RESULT_COLUMNS``."""
    setting = study if isinstance(study, Setting) else prepare(study)
    made = made_with(setting, **fields)
    results = np.empty((1, len(RESULT_COLUMNS)))
    simulate_block(
        made.runs, made.sensor.signal, np.empty(0), setting.kernel_table(), setting.seed, made.indices,
        new_scratch(), results,
    )  # fmt: skip
    return dict(zip(RESULT_COLUMNS, results[0].tolist(), strict=True))


def phase_rows(run: Run, *phases: str) -> np.ndarray:
    """Rows of the trace in these phases."""
    return np.flatnonzero(np.isin(run.trace["state"], phases))


def readings(run: Run) -> np.ndarray:
    """What the controller was told, one a loop."""
    return run.trace["reading_bottom"]


def sensed(run: Run) -> np.ndarray:
    """What the sensor itself held, one a loop."""
    return run.trace["sensor_bottom"]
