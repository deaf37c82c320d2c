"""What all runs of a study share: the routine's table, the sensor's grid, the trip zone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from homing.builtin import builtin_table
from homing.draws import draw
from homing.lift import MM
from homing.own.table import own_table
from homing.routine import CompiledTable, Table, compile_table
from homing.sensors import build_sensor
from homing.settings import routine_settings
from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind
from sensor_models.mounting import Grid, SensorBatch, grid_for, respond, shortfall

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from sensor_models.sensor import Sensor

Floats = NDArray[np.float64]
#: Responses of the nominal sensor and of ``ZONE_DRAWS`` drawn ones that are known already.
Known: TypeAlias = tuple[SensorBatch, SensorBatch]

#: Runs whose sensors, drawn over the tolerances, give the trip zone.
ZONE_DRAWS = 512


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


def prepare(
    lift: Lift,
    seed: int = 0,
    periods_s: Floats | None = None,
    responses: Known | None = None,
) -> Setting:
    """Set up a study of one lift.

    Parameters
    ----------
    lift : Lift
    seed : int
    periods_s : ndarray, shape (k,), optional
        Measured loop periods to draw from instead of the lift file's period, jitter and late loops [s].
    responses : (nominal, drawn), optional
        Responses of the nominal sensor and of ``ZONE_DRAWS`` drawn ones, when they are at hand already.

    Raises
    ------
    InputError
        When the sensor is never made on the nominal lift; says by how much it misses.
    """
    sensor = build_sensor(lift)
    grid = grid_for(sensor, lift.lift.travel_mm * MM) if responses is None else responses[0].grid
    nominal = respond(sensor, grid, 1) if responses is None else responses[0]
    _refuse_never_made(lift, sensor, nominal)
    drawn = _drawn(lift, seed, grid) if responses is None else responses[1]
    trip_m = float(nominal.trip_m[0])
    zone_m = _zone(nominal, drawn)
    stall = sensor.kind is SensorKind.STALL
    table = _table(lift, zone_m, trip_m, stall)
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


def _drawn(lift: Lift, seed: int, grid: Grid) -> SensorBatch:
    """Responses of the sensor over the tolerances."""
    values = draw(lift, seed, np.arange(ZONE_DRAWS)).values
    return respond(build_sensor(lift, None, values), grid, ZONE_DRAWS)


def _table(lift: Lift, zone_m: tuple[float, float], trip_m: float, stall: bool) -> Table:
    if lift.own_routine is not None:
        return own_table(lift.own_routine, told_by_standing=stall)
    return builtin_table(routine_settings(lift, zone_m, trip_m, stall))


def _refuse_never_made(lift: Lift, sensor: Sensor, nominal: SensorBatch) -> None:
    if np.isnan(nominal.trip_m[0]):
        key = f"sensor.{lift.sensor().name}"
        raise InputError(
            f"is never made anywhere on the travel: {shortfall(sensor, nominal)}", file=lift.source, key=key
        )
    if np.isinf(nominal.trip_m[0]):
        key = f"sensor.{lift.sensor().name}"
        raise InputError(
            "is made everywhere on the travel: it cannot tell the end", file=lift.source, key=key
        )


def _zone(nominal: SensorBatch, drawn: SensorBatch) -> tuple[float, float]:
    """Lowest trip and highest release height over the tolerances [m]: where a made reading belongs."""
    trips = np.concatenate([nominal.trip_m, drawn.trip_m])
    releases = np.concatenate([nominal.release_m, drawn.release_m])
    known = releases[np.isfinite(releases)]
    # one that never lets go belongs everywhere
    return float(np.nanmin(trips)), float(known.max()) if len(known) else nominal.grid.travel_m
