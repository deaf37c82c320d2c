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

#: Drawn sensors that make the tolerance band.
BAND_DRAWS = 400


def sensor_view(setting: Setting) -> SensorView | None:
    """Response of the routine's sensor; None where the hard stop itself is the sensor."""
    lift = setting.lift
    table = lift.sensor()
    nominal_sensor = build_sensor(lift)
    if nominal_sensor.kind is SensorKind.STALL:
        return None
    values = draw(lift, setting.seed, np.arange(BAND_DRAWS)).values
    drawn_sensor = build_sensor(lift, None, values)
    nominal = respond(nominal_sensor, setting.grid, 1)
    drawn = respond(drawn_sensor, setting.grid, BAND_DRAWS)
    x_m = setting.grid.rising()
    order = np.searchsorted(np.sort(setting.grid.positions()), x_m)
    columns = np.argsort(setting.grid.positions(), kind="stable")[order]
    scale = nominal_sensor.display_scale
    signal, band = nominal.signal[0], drawn.signal
    if nominal.two_sided:
        signal, band = np.abs(signal), np.abs(band)
    trips = drawn.trip_m[~np.isnan(drawn.trip_m)] / MM
    trip_mm, release_mm = setting.trip_m / MM, setting.release_m / MM
    return SensorView(
        name=table.name,
        kind=nominal_sensor.kind.name.lower(),
        quantity=nominal_sensor.quantity,
        unit=nominal_sensor.unit,
        x_mm=x_m / MM,
        signal=signal[columns] * scale,
        signal_low=band[:, columns].min(axis=0) * scale,
        signal_high=band[:, columns].max(axis=0) * scale,
        operate=float(nominal.operate[0]) * scale,
        release=float(nominal.release[0]) * scale,
        trip_mm=trip_mm,
        release_mm=release_mm,
        hysteresis_mm=release_mm - trip_mm,
        window_mm=(setting.window_low_m / MM, trip_mm),
        trip_band_mm=(float(trips.min()), float(trips.max())) if len(trips) else (trip_mm, trip_mm),
        trip_zone_mm=(0.0, setting.zone_m[1] / MM),
        zones_mm=_zones_mm(nominal, setting),
        never_seen_share=float(np.mean(np.isnan(drawn.trip_m))),
        miss=shortfall(drawn_sensor, drawn),
    )


def _zones_mm(nominal: object, setting: Setting) -> tuple[tuple[float, float], ...]:
    """Places on the travel where the nominal sensor would be made, main window first."""
    from sensor_models.mounting import SensorBatch

    assert isinstance(nominal, SensorBatch)
    found = zones(
        nominal.signal[0], setting.grid.positions(), float(nominal.operate[0]), two_sided=nominal.two_sided
    )
    top = setting.grid.travel_m
    return tuple((low / MM, high / MM) for low, high in found if high > 0.0 and low < top)
