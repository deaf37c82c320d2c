"""Drawn runs made ready for the kernel: one record and one response table a run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.draws import Draws, draw, start_heights
from homing.kernel.layout import Records
from homing.lift import MM, fill_lift, new_runs, stall_limit_a
from homing.sensors import build_sensor
from homing.setting import Setting
from sensor_models.kinds import SensorKind
from sensor_models.mounting import SensorBatch, respond

if TYPE_CHECKING:
    from homing.faults import FaultPlan
    from sensor_models.sensor import Sensor

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Run number that nothing else uses: the random numbers of the nominal run.
NOMINAL_INDEX = 2**40


@dataclass(frozen=True)
class Batch:
    """Drawn runs ready for the kernel: records (n,), response tables (n, points), run numbers (n,)."""

    runs: Records
    sensor: SensorBatch
    indices: Indices
    start_kind: NDArray[np.int64]


def batch(setting: Setting, indices: Indices, faults: FaultPlan | None = None) -> Batch:
    """Draw the runs with these numbers and tabulate their sensors."""
    return batch_of(setting, draw(setting.lift, setting.seed, indices), indices, faults)


def batch_of(setting: Setting, draws: Draws, indices: Indices, faults: FaultPlan | None = None) -> Batch:
    """Runs with drawn numbers that are at hand; loops, noise and sampling still follow the run numbers."""
    made = _fill(setting, draws.values, indices, draws)
    if faults is not None:
        faults.apply(setting, made.runs, made.indices)
    return made


def nominal_batch(setting: Setting) -> Batch:
    """The lift as written: no tolerance, no sway, no jitter, no late loop."""
    made = _fill(setting, {}, np.array([NOMINAL_INDEX]), None)
    made.runs.jitter_s = 0.0
    made.runs.late_probability = 0.0
    return made


def _fill(setting: Setting, values: dict[str, Floats], indices: Indices, draws: Draws | None) -> Batch:
    lift, count = setting.lift, len(indices)
    runs = new_runs(count)
    fill_lift(runs, lift, values)
    sensor = build_sensor(lift, None, values)
    response = respond(sensor, setting.grid, count)
    _fill_sensor(runs, setting, sensor, response)
    runs.referenced = int(lift.routine.referenced_at_start)
    reference_mm = lift.routine.reference_mm
    runs.reference_m = setting.trip_m if reference_mm is None else reference_mm * MM
    kinds = np.zeros(count, dtype=np.int64)
    if draws is not None:
        runs.count_phase = draws.count_phase
        runs.start_m = start_heights(
            draws, lift.lift.start_mm * MM, lift.lift.travel_mm * MM, runs.trip_m, runs.window_low_m
        )
        kinds = draws.start_kind
    return Batch(runs, response, indices, kinds)


def _fill_sensor(runs: Records, setting: Setting, sensor: Sensor, response: SensorBatch) -> None:
    runs.fine_low_m, runs.fine_step_m, runs.coarse_low_m, runs.coarse_step_m = setting.grid.steps
    runs.operate, runs.release = response.operate, response.release
    runs.two_sided = int(response.two_sided)
    for field in ("sample_period_s", "noise", "quantum", "flip_probability", "bounce_s"):
        runs[field] = np.ravel(getattr(sensor, field))
    runs.wire_reads_made = int(sensor.broken_wire_reads_made)
    runs.stall_sensor = int(sensor.kind is SensorKind.STALL)
    if sensor.kind is SensorKind.STALL:
        runs.current_limit_a = np.minimum(runs.current_limit_a, stall_limit_a(setting.lift))
    # a sensor that is never made is measured from where a healthy one would have tripped
    never = np.isnan(response.trip_m)
    runs.trip_m = np.where(never, setting.trip_m, response.trip_m)
    runs.release_m = np.where(never, setting.release_m, response.release_m)
    runs.window_low_m = np.where(never, setting.window_low_m, response.window_low_m)
    runs.zone_high_m = setting.zone_m[1]
