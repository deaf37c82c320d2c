"""From a lift to runs: the setting that all runs share, batches of drawn runs, single runs.

Flow of one call::

    prepare     lift -> Setting: compiled routine table, grid of the sensor's table, trip zone
    batch       Setting + run numbers -> records and response tables  (draws, lift, sensor_models)
    run_block   kernel over a batch -> result rows
    simulate    one run with its trace, converted to the units of the contract
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.builtin import builtin_table
from homing.draws import Draws, Start, draw, start_heights
from homing.kernel.codes import REASON_TEXT, Ended, Reason
from homing.kernel.layout import (
    MAX_STOPS,
    RESULT_COLUMNS,
    STOP_COLUMNS,
    TRACE_COLUMNS,
    Records,
    new_scratch,
)
from homing.kernel.loop import simulate_block, simulate_run
from homing.lift import MM, fill_lift, new_runs, routine_settings
from homing.results import BUDGET_PARTS, METRICS, Outcome, Run, Stop, Trace
from homing.routine import CompiledTable, Table, compile_table
from homing.sensors import build_sensor
from sensor_models.kinds import SensorKind
from sensor_models.mounting import Grid, SensorBatch, grid_for, respond
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.faults import FaultPlan
    from homing.liftfile import Lift

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Runs whose sensors, drawn over the tolerances, give the trip zone.
ZONE_DRAWS = 512
#: Run number that nothing else uses: the random numbers of the nominal run.
NOMINAL_INDEX = 2**40
#: Loops that a trace has room for.
TRACE_ROWS = 20_000


@dataclass(frozen=True)
class Setting:
    """What all runs of a study share; plain data that can be sent to other processes."""

    lift: Lift
    seed: int
    table: Table
    compiled: CompiledTable
    grid: Grid
    trip_m: float
    release_m: float
    window_low_m: float
    zone_m: tuple[float, float]
    periods_s: Floats
    no_motion_s: float
    error_share: float = 1.0

    def kernel_table(self) -> tuple[Any, ...]:
        return (*self.compiled.arrays(), self.no_motion_s)

    def with_table(self, table: Table) -> Setting:
        """The same setting with another routine table."""
        return replace(self, table=table, compiled=compile_table(table))


@dataclass(frozen=True)
class Batch:
    """Drawn runs ready for the kernel: records (n,), response tables (n, points), run numbers (n,)."""

    runs: Records
    sensor: SensorBatch
    indices: Indices
    start_kind: NDArray[np.int64]


def prepare(lift: Lift, seed: int = 0, periods_s: Floats | None = None) -> Setting:
    """Set up a study of one lift.

    Parameters
    ----------
    lift : Lift
    seed : int
    periods_s : ndarray, shape (k,), optional
        Measured loop periods to draw from instead of the lift file's period, jitter and late loops [s].

    Raises
    ------
    InputError
        When the sensor is never made on the nominal lift; says by how much it misses.
    """
    sensor = build_sensor(lift)
    grid = grid_for(sensor, lift.lift.travel_mm * MM)
    nominal = respond(sensor, grid, 1)
    _refuse_never_made(lift, sensor, nominal)
    drawn = respond(
        build_sensor(lift, None, draw(lift, seed, np.arange(ZONE_DRAWS)).values), grid, ZONE_DRAWS
    )
    trip_m = float(nominal.trip_m[0])
    zone_m = _zone(nominal, drawn)
    stall = sensor.kind is SensorKind.STALL
    table = builtin_table(routine_settings(lift, zone_m, trip_m, stall))
    return Setting(
        lift=lift,
        seed=seed,
        table=table,
        compiled=compile_table(table),
        grid=grid,
        trip_m=trip_m,
        release_m=float(nominal.release_m[0]),
        window_low_m=float(nominal.window_low_m[0]),
        zone_m=zone_m,
        periods_s=np.empty(0) if periods_s is None else np.ascontiguousarray(periods_s, dtype=np.float64),
        no_motion_s=lift.routine.no_motion_ms * MM,
    )


def _refuse_never_made(lift: Lift, sensor: Any, nominal: SensorBatch) -> None:
    from sensor_models.mounting import shortfall

    if np.isnan(nominal.trip_m[0]):
        key = f"sensor.{lift.sensor().name}"
        raise InputError(
            f"is never made anywhere on the travel: {shortfall(sensor, nominal)}", file=lift.source, key=key
        )


def _zone(nominal: SensorBatch, drawn: SensorBatch) -> tuple[float, float]:
    """Lowest trip and highest release height over the tolerances [m]: where a made reading belongs."""
    trips = np.concatenate([nominal.trip_m, drawn.trip_m])
    releases = np.concatenate([nominal.release_m, drawn.release_m])
    return float(np.nanmin(trips)), float(np.nanmax(np.where(np.isfinite(releases), releases, np.nan)))


def batch(setting: Setting, indices: Indices, faults: FaultPlan | None = None) -> Batch:
    """Draw the runs with these numbers and tabulate their sensors."""
    draws = draw(setting.lift, setting.seed, indices)
    made = _fill(setting, draws.values, indices, draws)
    if faults is not None:
        faults.apply(setting, made)
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


def _fill_sensor(runs: Records, setting: Setting, sensor: Any, response: SensorBatch) -> None:
    runs.fine_low_m, runs.fine_step_m, runs.coarse_low_m, runs.coarse_step_m = setting.grid.steps
    runs.operate, runs.release = response.operate, response.release
    runs.two_sided = int(response.two_sided)
    for field in ("sample_period_s", "noise", "quantum", "flip_probability", "bounce_s"):
        runs[field] = np.ravel(getattr(sensor, field))
    runs.wire_reads_made = int(sensor.broken_wire_reads_made)
    runs.stall_sensor = int(sensor.kind is SensorKind.STALL)
    # a sensor that is never made is measured from where a healthy one would have tripped
    never = np.isnan(response.trip_m)
    runs.trip_m = np.where(never, setting.trip_m, response.trip_m)
    runs.release_m = np.where(never, setting.release_m, response.release_m)
    runs.window_low_m = np.where(never, setting.window_low_m, response.window_low_m)
    runs.zone_high_m = setting.zone_m[1]


def run_block(setting: Setting, indices: Indices, faults: FaultPlan | None = None) -> Floats:
    """Simulate the runs with these numbers; returns (n, columns) in SI, columns ``RESULT_COLUMNS``."""
    return _run(setting, batch(setting, indices, faults), setting.periods_s)


def run_nominal(setting: Setting) -> Floats:
    """Simulate the nominal run without its trace; returns one result row, (1, columns)."""
    return _run(setting, nominal_batch(setting), np.empty(0))


def _run(setting: Setting, made: Batch, periods_s: Floats) -> Floats:
    results = np.empty((len(made.indices), len(RESULT_COLUMNS)))
    simulate_block(
        made.runs, made.sensor.signal, periods_s, setting.kernel_table(), setting.seed, made.indices,
        new_scratch(setting.error_share), results,
    )  # fmt: skip
    return results


def nominal_run(setting: Setting) -> Run:
    """The nominal run of a setting with its trace."""
    return traced(setting, nominal_batch(setting), None)


def simulate(
    lift: Lift, seed: int = 0, run: int | None = None, periods_s: Floats | None = None, setting: Setting | None = None
) -> Run:
    """Simulate one run with its trace.

    Parameters
    ----------
    lift : Lift
    seed : int
    run : int, optional
        Number of a drawn run; the nominal run by default.
    periods_s : ndarray, optional
        Measured loop periods [s], as in ``prepare``.
    setting : Setting, optional
        When it is at hand already; then ``lift``, ``seed`` and ``periods_s`` are those of the setting.

    Returns
    -------
    Run
    """
    setting = prepare(lift, seed, periods_s) if setting is None else setting
    made = nominal_batch(setting) if run is None else batch(setting, np.array([run], dtype=np.int64))
    return traced(setting, made, run)


def traced(setting: Setting, made: Batch, run: int | None) -> Run:
    """Run the first run of a batch with its trace and convert it."""
    stops = np.zeros((MAX_STOPS, STOP_COLUMNS))
    trace = np.zeros((TRACE_ROWS, len(TRACE_COLUMNS)))
    result = np.empty(len(RESULT_COLUMNS))
    periods = np.empty(0) if run is None else setting.periods_s
    parts = tuple(records[0] for records in new_scratch(setting.error_share))
    simulate_run(
        made.runs[0], parts, made.sensor.signal[0], periods, setting.kernel_table(), setting.seed,
        int(made.indices[0]), stops, trace, result,
    )  # fmt: skip
    columns = dict(zip(RESULT_COLUMNS, result.tolist(), strict=True))
    rows = trace[: int(columns["trace_rows"])]
    return Run(
        seed=setting.seed,
        index=run,
        outcome=Outcome(int(outcomes(result[None, :], setting.lift)[0])),
        reason=REASON_TEXT[Reason(int(columns["reason"]))],
        metrics={name: float(values[0]) for name, values in metrics(result[None, :], setting.lift).items()},
        stops=tuple(_stop(row) for row in stops if row[0] != 0.0),
        trace=Trace(_trace_columns(rows, setting)),
        start="nominal" if run is None else Start(int(made.start_kind[0])).words,
    )


def _stop(row: Floats) -> Stop:
    parts = dict(zip(BUDGET_PARTS, (row[3:10] / MM).tolist(), strict=True))
    return Stop(float(row[0] / MM), float(row[1] / MM), float(row[2] / MM), parts)


def _trace_columns(rows: Floats, setting: Setting) -> dict[str, NDArray[Any]]:
    column = {name: rows[:, i] for i, name in enumerate(TRACE_COLUMNS)}
    names = np.array([phase.name for phase in setting.table.phases])
    sensor = setting.lift.routine.sensor
    return {
        "t_s": column["t_s"],
        "state": names[column["phase"].astype(int)] if len(rows) else names[:0],
        "command_fraction": column["command_fraction"],
        "counts": column["counts"].astype(np.int64),
        "spool_mm": column["spool_m"] / MM,
        "carriage_mm": column["carriage_m"] / MM,
        "carriage_mm_s": column["carriage_m_s"] / MM,
        f"sensor_{sensor}": column["sensor"].astype(np.int64),
        f"reading_{sensor}": column["reading"].astype(np.int64),
        "current_a": column["current_a"],
        "battery_v": column["battery_v"],
        "string_n": column["string_n"],
        "return_string_n": column["return_string_n"],
        "stop_n": column["stop_n"],
    }


def metrics(results: Floats, lift: Lift) -> dict[str, Floats]:
    """Result rows (n, columns) in SI as the contract's metrics, (n,) each; NaN where not existing."""
    column = {name: results[:, i] for i, name in enumerate(RESULT_COLUMNS)}
    rigging = lift.drive.travel_per_line
    has_string, has_return = lift.string is not None, lift.string is not None and lift.string.return_string
    nothing = np.full(len(results), np.nan)
    found = {
        "time_to_zero_s": column["time_to_zero_s"],
        "trip_mm": column["trip_m"] / MM,
        "stop_distance_mm": column["stop_distance_m"] / MM,
        "overtravel_mm": column["overtravel_m"] / MM,
        "impact_speed_mm_s": column["impact_m_s"] / MM,
        "slack_mm": column["slack_m"] / MM / rigging if has_string else nothing,
        "return_slack_mm": column["return_slack_m"] / MM / rigging if has_return else nothing,
        "zero_error_mm": column["zero_error_m"] / MM,
        "false_triggers": column["false_triggers"],
        "accepted_false_triggers": column["accepted_false_triggers"],
        "missed_triggers": column["missed_triggers"],
        "peak_current_a": column["peak_current_a"],
    }
    assert tuple(found) == METRICS
    return found


def outcomes(results: Floats, lift: Lift) -> NDArray[np.int8]:
    """Outcome of each result row as the contract defines it, (n,)."""
    limits, found = lift.requirements, metrics(results, lift)
    unsafe = results[:, RESULT_COLUMNS.index("moving_at_end")] > 0.0
    for name in ("overtravel_mm", "slack_mm", "impact_speed_mm_s"):
        unsafe |= np.nan_to_num(found[name], nan=0.0) > getattr(limits, name)
    unsafe |= np.abs(np.nan_to_num(found["zero_error_mm"], nan=0.0)) > limits.zero_error_mm
    ended = results[:, RESULT_COLUMNS.index("ended")]
    unsafe |= ended == int(Ended.STILL_RUNNING)
    calm = np.where(ended == int(Ended.ZEROED), int(Outcome.ZEROED), int(Outcome.FAULTED))
    return np.where(unsafe, int(Outcome.UNSAFE), calm).astype(np.int8)
