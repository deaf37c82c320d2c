"""A candidate's response along the travel: nominal, over its tolerances, and moved one dimension at a
time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.compare.results import Band
from homing.draws import draw
from homing.lift import MM
from homing.sensors import build_sensor
from homing.setting import ZONE_DRAWS
from sensor_models.mounting import N_FINE, Grid, SensorBatch, grid_for, respond, shortfall

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from sensor_models.sensor import Sensor

Floats = NDArray[np.float64]

#: Drawn sensors from which bands and probabilities come: those that settle the trip zone, too.
BAND_DRAWS = ZONE_DRAWS
#: The band holds 95 % of the draws.
BAND_SHARES = (0.025, 0.975)
#: Smallest sway for which a sensitivity is stated [mm].
LEAST_SWAY_MM = 0.1
#: Gaps that are tried for a sensor that is never made, and once more between the two nearest.
GAPS = 201
#: Step of temperature for its sensitivity [K].
TEMPERATURE_STEP_K = 20.0


@dataclass(frozen=True)
class Responses:
    """The sensor of a lift, nominal and drawn, with its tables on one grid."""

    sensor: Sensor
    drawn_sensor: Sensor
    grid: Grid
    nominal: SensorBatch
    drawn: SensorBatch

    @property
    def tells_nothing(self) -> bool:
        """True when the nominal sensor is made nowhere on the travel, or everywhere."""
        return not bool(np.isfinite(self.nominal.trip_m[0]))

    @property
    def miss(self) -> str:
        """By how much the nominal sensor misses; empty if it does not."""
        if np.isposinf(self.nominal.trip_m[0]):
            scale, unit = self.sensor.display_scale, self.sensor.unit
            strength = self.nominal.signal[0, -1] * scale
            return (
                f"{self.sensor.quantity} {strength:.3g} {unit} far away from it, "
                f"made from {self.nominal.operate[0] * scale:.3g} {unit} on"
            )
        return shortfall(self.sensor, self.nominal)

    def band(self, what: str) -> Band:
        """Nominal value and 95 % band of ``trip_m`` or ``release_m`` [mm]."""
        nominal, drawn = getattr(self.nominal, what) / MM, getattr(self.drawn, what) / MM
        known = drawn[np.isfinite(drawn)]
        low, high = np.quantile(known, BAND_SHARES) if len(known) else (np.nan, np.nan)
        return Band(float(nominal[0]), float(low), float(high))

    @property
    def window_mm(self) -> float:
        """Travel over which the nominal sensor is made on the way in, at most down to the hard stop."""
        return float((self.nominal.trip_m[0] - max(self.nominal.window_low_m[0], 0.0)) / MM)

    def lowest_trip_m(self, share: float) -> float:
        """Trip height below which only this share of the drawn sensors trips [m]."""
        known = self.drawn.trip_m[np.isfinite(self.drawn.trip_m)]
        return float(np.quantile(known, share)) if len(known) else float("nan")

    def highest_trip_m(self, share: float) -> float:
        """Trip height above which only this share of the drawn sensors trips [m]."""
        return self.lowest_trip_m(1.0 - share)


def rising_columns(grid: Grid) -> tuple[Floats, NDArray[np.int64]]:
    """Heights of a table in rising order [m], and their columns; coarse ones inside the fine part left
    out.
    """
    positions = grid.positions()
    order = np.argsort(positions, kind="stable")
    fine_high_m = grid.fine_low_m + (N_FINE - 1) * grid.fine_step_m
    beside = (positions[order] < grid.fine_low_m) | (positions[order] > fine_high_m)
    columns = order[(order < N_FINE) | beside]
    return positions[columns], columns


def strong_low_m(batch: SensorBatch) -> Floats:
    """Lower end of where the main window's signal is over the operate threshold [m], (n,).

    Further in, down to ``window_low_m``, a made sensor stays made, but none turns to made. Minus infinity
    where the signal stays over it to the end of the table.
    """
    x_m, columns = rising_columns(batch.grid)
    signal = np.abs(batch.signal[:, columns]) if batch.two_sided else batch.signal[:, columns]
    level = signal - batch.operate[:, None]
    weak = (level < 0.0) & (x_m[None, :] < batch.trip_m[:, None])
    last = len(x_m) - 1 - np.argmax(weak[:, ::-1], axis=1)
    rows, above = np.arange(len(batch)), np.minimum(last + 1, len(x_m) - 1)
    rise = level[rows, above] - level[rows, last]
    share = np.divide(-level[rows, last], rise, out=np.zeros(len(batch)), where=rise > 0.0)
    low = x_m[last] + np.clip(share, 0.0, 1.0) * (x_m[above] - x_m[last])
    # a sample just below the trip that is weaker only by rounding is no end of the window
    return np.where(weak.any(axis=1) & (low < batch.trip_m), low, -np.inf)


def responses_of(lift: Lift, seed: int) -> Responses:
    """Tabulate the sensor of a lift, nominal and over ``BAND_DRAWS`` draws of its tolerances and sway."""
    sensor = build_sensor(lift)
    grid = grid_for(sensor, lift.lift.travel_mm * MM)
    drawn_sensor = build_sensor(lift, None, draw(lift, seed, np.arange(BAND_DRAWS)).values)
    return Responses(
        sensor, drawn_sensor, grid, respond(sensor, grid, 1), respond(drawn_sensor, grid, BAND_DRAWS)
    )


def tolerance_shifts_mm(lift: Lift, responses: Responses) -> tuple[tuple[str, float], ...]:
    """How far each tolerance of the sensor alone moves the trip height [mm], the farther of its two bounds.

    Largest first. For small tolerances these are the terms of a tolerance stack (``stack``).
    """
    prefix = f"sensor.{lift.sensor().name}."
    own = [each for each in lift.tolerances if each.key.startswith(prefix)]
    if not own:
        return ()
    numbers = lift.quantities()
    values = {each.key: np.full(2 * len(own), numbers[each.key]) for each in own}
    for i, each in enumerate(own):
        values[each.key][2 * i : 2 * i + 2] = each.low, each.high
    trips = respond(build_sensor(lift, None, values), responses.grid, 2 * len(own)).trip_m
    shifts = np.abs(trips - responses.nominal.trip_m[0]).reshape(-1, 2).max(axis=1) / MM
    found = [(each.key.removeprefix(prefix), float(shift)) for each, shift in zip(own, shifts, strict=True)]
    return tuple(sorted(found, key=lambda pair: -pair[1]))


def sway_mm_per_mm(lift: Lift, responses: Responses) -> float:
    """Largest shift of the trip height for this lift's sway, per millimetre of it; NaN: not felt.

    Sway moves the target away from the sensor (not nearer than touching) and to either side.
    """
    sensor: Any = responses.sensor
    sway_m = max(lift.lift.sway_mm, LEAST_SWAY_MM) * MM
    shifts = []
    for field, least in (("gap_m", 0.0), ("side_offset_m", -np.inf)):
        if hasattr(sensor, field):
            at = getattr(sensor, field)
            both = np.maximum(np.array([[at - sway_m], [at + sway_m]]), least)
            trips = respond(replace(sensor, **{field: both}), responses.grid, 2).trip_m
            shifts += np.abs(trips - responses.nominal.trip_m[0]).tolist()
    return max(shifts) / sway_m if shifts else float("nan")


def temperature_mm_per_k(lift: Lift, responses: Responses) -> float:
    """Shift of the trip height per kelvin of magnet and switch [mm/K]; NaN: the kind's model has none."""
    sensor: Any = responses.sensor
    if not hasattr(sensor, "temperature_c"):
        return float("nan")
    step = np.array([[-TEMPERATURE_STEP_K], [TEMPERATURE_STEP_K]])
    trips = respond(replace(sensor, temperature_c=sensor.temperature_c + step), responses.grid, 2).trip_m
    return float((trips[1] - trips[0]) / (2.0 * TEMPERATURE_STEP_K) / MM)


def stack(shifts: tuple[float, ...] | list[float]) -> tuple[float, float]:
    """Tolerance stack: worst case (sum) and root of the sum of squares, in the unit of ``shifts``.

    Examples
    --------
    >>> worst, likely = stack([0.1, 0.2, 0.05, 0.15])
    >>> round(worst, 6), round(likely, 6)
    (0.5, 0.273861)
    """
    each = np.asarray(shifts, dtype=np.float64)
    return float(each.sum()), float(np.sqrt((each**2).sum()))


def nearest_gap_mm(responses: Responses) -> float:
    """Gap nearest to the candidate's own at which it would be made [mm]; NaN: none, or no gap in this
    kind.
    """
    sensor: Any = responses.sensor
    if not hasattr(sensor, "gap_m"):
        return float("nan")
    own_m = float(sensor.gap_m)
    found = _made_nearest(responses, np.linspace(0.0, 2.0 * own_m + 10.0 * MM, GAPS)[1:])
    if np.isnan(found):
        return found
    step_m = (2.0 * own_m + 10.0 * MM) / (GAPS - 1)
    toward_own = found + np.copysign(step_m, own_m - found)
    return _made_nearest(responses, np.linspace(found, toward_own, GAPS)) / MM


def _made_nearest(responses: Responses, gaps_m: Floats) -> float:
    """Of these gaps the one nearest to the sensor's own at which it is made [m]; NaN: none."""
    sensor: Any = responses.sensor
    trips = respond(replace(sensor, gap_m=gaps_m[:, None]), responses.grid, len(gaps_m)).trip_m
    made = gaps_m[~np.isnan(trips)]
    return float(made[np.argmin(np.abs(made - sensor.gap_m))]) if len(made) else float("nan")
