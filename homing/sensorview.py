"""What the routine's sensor reads along the travel, nominal and over the tolerances, for figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from homing.draws import draw
from homing.lift import MM
from homing.results import SensorView
from homing.sensors import build_sensor
from sensor_models.kinds import SensorKind
from sensor_models.mounting import respond, shortfall, zones

if TYPE_CHECKING:
    from homing.setting import Setting
    from sensor_models.mounting import SensorBatch
    from sensor_models.sensor import Sensor

#: Drawn sensors that make the tolerance band.
BAND_DRAWS = 400


def sensor_view(setting: Setting) -> SensorView | None:
    """Response of the routine's sensor; None where the hard stop itself is the sensor."""
    lift = setting.lift
    sensor = build_sensor(lift)
    if sensor.kind is SensorKind.STALL:
        return None
    drawn_sensor = build_sensor(lift, None, draw(lift, setting.seed, np.arange(BAND_DRAWS)).values)
    nominal = respond(sensor, setting.grid, 1)
    drawn = respond(drawn_sensor, setting.grid, BAND_DRAWS)
    return view_of(lift.sensor().name, (sensor, nominal), (drawn_sensor, drawn), setting.zone_m[1])


def view_of(
    name: str, nominal: tuple[Sensor, SensorBatch], drawn: tuple[Sensor, SensorBatch], zone_high_m: float
) -> SensorView:
    """The view of a sensor from its responses, nominal and drawn, on one grid.

    Parameters
    ----------
    name : str
    nominal, drawn : (sensor, its responses)
    zone_high_m : float
        Top of the trip zone [m]; NaN where it is never made.
    """
    sensor, batch = nominal
    grid, scale = batch.grid, sensor.display_scale
    x_m = grid.rising()
    order = np.searchsorted(np.sort(grid.positions()), x_m)
    columns = np.argsort(grid.positions(), kind="stable")[order]
    signal, band = batch.signal[0], drawn[1].signal
    if batch.two_sided:
        signal, band = np.abs(signal), np.abs(band)
    trip_mm, release_mm, low_mm = (
        float(height[0]) / MM for height in (batch.trip_m, batch.release_m, batch.window_low_m)
    )
    trips = drawn[1].trip_m[~np.isnan(drawn[1].trip_m)] / MM
    return SensorView(
        name=name,
        kind=sensor.kind.name.lower(),
        quantity=sensor.quantity,
        unit=sensor.unit,
        x_mm=x_m / MM,
        signal=signal[columns] * scale,
        signal_low=band[:, columns].min(axis=0) * scale,
        signal_high=band[:, columns].max(axis=0) * scale,
        operate=float(batch.operate[0]) * scale,
        release=float(batch.release[0]) * scale,
        trip_mm=trip_mm,
        release_mm=release_mm,
        hysteresis_mm=release_mm - trip_mm,
        window_mm=(low_mm, trip_mm),
        trip_band_mm=(float(trips.min()), float(trips.max())) if len(trips) else (trip_mm, trip_mm),
        trip_zone_mm=(0.0, zone_high_m / MM),
        zones_mm=_zones_mm(batch),
        never_seen_share=float(np.mean(np.isnan(drawn[1].trip_m))),
        miss=shortfall(*drawn),
    )


def _zones_mm(nominal: SensorBatch) -> tuple[tuple[float, float], ...]:
    """Places on the travel where the nominal sensor would be made, main window first."""
    found = zones(
        nominal.signal[0], nominal.grid.positions(), float(nominal.operate[0]), two_sided=nominal.two_sided
    )
    top = nominal.grid.travel_m
    return tuple((low / MM, high / MM) for low, high in found if high > 0.0 and low < top)
