"""Runs: blocks of them for ensembles, single ones with their trace.

Flow of one call::

    setting.prepare   lift -> Setting: compiled routine table, grid of the sensor's table, trip zone
    batches.batch     Setting + run numbers -> records and response tables  (draws, lift, sensor_models)
    run_block         kernel over a batch -> result rows
    simulate          one run with its trace, converted to the units of the contract
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.batches import Batch, Indices, batch, nominal_batch
from homing.draws import Start
from homing.kernel.layout import MAX_STOPS, RESULT_COLUMNS, STOP_COLUMNS, TRACE_COLUMNS, new_scratch
from homing.kernel.loop import simulate_block, simulate_run
from homing.lift import MM
from homing.measures import metrics, outcomes
from homing.results import BUDGET_PARTS, Outcome, Run, Stop, Trace
from homing.setting import Setting, prepare

if TYPE_CHECKING:
    from homing.faults import FaultPlan
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

#: A part of the stop budget below this is rounding [mm].
ROUNDING_MM = 1.0e-9
#: Loops that a trace has room for.
TRACE_ROWS = 20_000


def run_block(setting: Setting, indices: Indices, faults: FaultPlan | None = None) -> Floats:
    """Simulate the runs with these numbers; returns (n, columns) in SI, columns ``RESULT_COLUMNS``."""
    return run_batch(setting, batch(setting, indices, faults), setting.periods_s)


def run_nominal(setting: Setting) -> Floats:
    """Simulate the nominal run without its trace; returns one result row, (1, columns)."""
    return run_batch(setting, nominal_batch(setting), np.empty(0))


def run_batch(setting: Setting, made: Batch, periods_s: Floats) -> Floats:
    """Simulate runs that are made ready; result rows (n, columns) in SI."""
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
    lift: Lift,
    seed: int = 0,
    run: int | None = None,
    periods_s: Floats | None = None,
    setting: Setting | None = None,
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


def traced(setting: Setting, made: Batch, run: int | None, row: int = 0) -> Run:
    """Run one run of a batch, by default the first, with its trace and convert it."""
    stops = np.zeros((MAX_STOPS, STOP_COLUMNS))
    trace = np.zeros((TRACE_ROWS, len(TRACE_COLUMNS)))
    result = np.empty(len(RESULT_COLUMNS))
    periods = np.empty(0) if run is None else setting.periods_s
    parts = tuple(records[0] for records in new_scratch(setting.error_share))
    simulate_run(
        made.runs[row], parts, made.sensor.signal[row], periods, setting.kernel_table(), setting.seed,
        int(made.indices[row]), stops, trace, result,
    )  # fmt: skip
    columns = dict(zip(RESULT_COLUMNS, result.tolist(), strict=True))
    rows = trace[: int(columns["trace_rows"])]
    names = np.array([phase.name for phase in setting.table.phases])
    phases = rows[:, TRACE_COLUMNS.index("phase")].astype(int)
    return as_run(
        setting,
        run,
        result,
        stops,
        rows,
        states=names[phases] if len(rows) else names[:0],
        reason=setting.table.reason_text(int(columns["reason"])),
        start="nominal" if run is None else Start(int(made.start_kind[row])).words,
    )


def as_run(
    setting: Setting,
    run: int | None,
    result: Floats,
    stops: Floats,
    rows: Floats,
    *,
    states: NDArray[Any],
    reason: str,
    start: str,
) -> Run:
    """One run in the units of the contract.

    Parameters
    ----------
    result : ndarray, shape (columns,)
        Result row, SI.
    stops : ndarray, shape (k, STOP_COLUMNS)
        One row an inward stop; rows of zeros are none.
    rows : ndarray, shape (loops, TRACE_WIDTH)
        The trace, SI.
    states : ndarray of str, shape (loops,)
        State of the controller in each loop.
    """
    return Run(
        seed=setting.seed,
        index=run,
        outcome=Outcome(int(outcomes(result[None, :], setting.lift)[0])),
        reason=reason,
        metrics={name: float(values[0]) for name, values in metrics(result[None, :], setting.lift).items()},
        stops=tuple(_stop(row) for row in stops if row[0] != 0.0),
        trace=Trace(_trace_columns(rows, states, setting)),
        start=start,
    )


def _stop(row: Floats) -> Stop:
    lengths = row[3:10] / MM
    # interpolating the same instant twice leaves a rest of rounding where a part is nothing
    lengths = np.where(np.abs(lengths) < ROUNDING_MM, 0.0, lengths)
    parts = dict(zip(BUDGET_PARTS, lengths.tolist(), strict=True))
    return Stop(float(row[0] / MM), float(row[1] / MM), float(row[2] / MM), parts)


def _trace_columns(rows: Floats, states: NDArray[Any], setting: Setting) -> dict[str, NDArray[Any]]:
    column = {name: rows[:, i] for i, name in enumerate(TRACE_COLUMNS)}
    sensor = setting.lift.routine.sensor
    return {
        "t_s": column["t_s"],
        "state": states,
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
