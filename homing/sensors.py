"""From a sensor table of the lift file to the sensor's model, in SI units: the one place that converts.

Any number may be overridden by an array, one value a run, so that an ensemble is one object.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.sensortables import (
    AnySensor,
    ContactTable,
    DistanceTable,
    MagnetTable,
    ReflectiveTable,
    SensorTable,
)
from homing.tolerances import follow, follows
from homing.values import Range, Spread, typical
from homing.words import MagnetShape
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from sensor_models.sensor import Sensor

Value = float | NDArray[np.float64]
#: Values of one run or, as arrays of shape (n,), of n runs; keys as in ``Lift.quantities``.
Values = Mapping[str, Any]

MM = 1e-3
MS = 1e-3
MT = 1e-3
MV = 1e-3
PERCENT = 1e-2
#: Farther than its curve a triangulating part's output falls as 1/distance.
TRIANGULATION_POWER = 1.0


class _Reader:
    """Reads one sensor table, with the overriding values put in."""

    def __init__(self, lift: Lift, table: AnySensor, values: Values) -> None:
        self.lift, self.table = lift, table
        group = "sensor" if table in lift.sensors else "candidate"
        self.prefix = f"{group}.{table.name}"
        self.values = values

    def overridden(self, key: str) -> bool:
        """True when a value for this key was handed in."""
        return f"{self.prefix}.{key}" in self.values

    def raw(self, key: str) -> Value:
        """Number in the file's unit: the overriding one as (n, 1), else the table's typical value."""
        if self.overridden(key):
            value = np.asarray(self.values[f"{self.prefix}.{key}"], dtype=np.float64)
            return value.reshape(-1, 1) if value.ndim else float(value)
        at: Any = self.table
        for part in key.split("."):
            at = getattr(at, part)
        return typical(at) if isinstance(at, Spread | Range) else float(at)

    def __call__(self, key: str, scale: float = 1.0) -> Value:
        return self.raw(key) * scale


def build_sensor(lift: Lift, name: str | None = None, values: Values | None = None) -> Sensor:
    """Return the model of a sensor of the lift, nominal or as an ensemble.

    Parameters
    ----------
    lift : Lift
        The lift.
    name : str, optional
        Which sensor or candidate; the routine's own by default.
    values : mapping, optional
        ``sensor.NAME.key`` (or ``sensor.NAME.magnet.key``) to a number or an array (n,), in the
        file's unit. Keys of other things are ignored.

    Returns
    -------
    Sensor
        Model in SI units; its fields are floats, or (n, 1) where values were arrays.

    Raises
    ------
    InputError
        When there is no such sensor, or its numbers together make none.
    """
    table = lift.sensor(name)
    read = _Reader(lift, table, values or {})
    build = next((build for kind, build in _BUILDERS.items() if isinstance(table, kind)), None)
    if build is None:
        from sensor_models.stall import StallSensor

        return StallSensor()
    try:
        return build(read, table)
    except InputError as error:
        raise InputError(f"cannot be modelled: {error}", file=lift.source, key=read.prefix) from error


def _common(read: _Reader, table: SensorTable) -> dict[str, Any]:
    return {
        "mount_m": read("mount_mm", MM),
        "sample_period_s": read("sample_period_ms", MS),
        "flip_probability": read("noise_flip_probability"),
        "broken_wire_reads_made": table.open_wire_reads == table.active,
    }


def _magnet_switch(read: _Reader, table: MagnetTable) -> Sensor:
    from sensor_models.hall import MagnetSensor

    return MagnetSensor(
        **_common(read, table),
        magnet=_magnet(read, table),
        gap_m=read("gap_mm", MM),
        side_offset_m=read("side_offset_mm", MM),
        operate_t=read("operate_mt", MT),
        release_t=_release_mt(read, table) * MT,
        hysteresis_min_t=read("hysteresis_min_mt", MT),
        switch=table.switch,
        facing=table.facing,
        approach=table.approach,
        magnet_coeff_per_k=read("magnet_temp_coeff_pct_per_k", PERCENT),
        switch_coeff_per_k=read("switch_temp_coeff_pct_per_k", PERCENT),
        temperature_c=read("temperature_c"),
    )


def _magnet(read: _Reader, table: MagnetTable) -> Any:
    from sensor_models.magnets import BlockMagnet, CylinderMagnet

    remanence = read("magnet.remanence_t")
    if table.magnet.shape is MagnetShape.DISC:
        return CylinderMagnet(
            diameter=read("magnet.diameter_mm", MM), height=read("magnet.height_mm", MM), remanence=remanence
        )
    assert table.magnet.size_mm is not None
    along, across, thickness = (size * MM for size in table.magnet.size_mm)
    return BlockMagnet(size=(along, across, thickness), remanence=remanence)


def _release_mt(read: _Reader, table: MagnetTable) -> Value:
    """Release point; it goes along with a drawn operate point (see ``homing.tolerances``)."""
    if read.overridden("operate_mt") and not read.overridden("release_mt") and follows(read.lift, table):
        return follow(table, read.raw("operate_mt"))
    return read.raw("release_mt")


def _reflective(read: _Reader, table: ReflectiveTable) -> Sensor:
    from sensor_models.curves import FAR_POWER, Curve, PeakCurve
    from sensor_models.reflective import Other, ReflectiveSensor

    curve: Curve | PeakCurve
    if table.curve is None:
        curve = PeakCurve(peak_gap_m=read("peak_gap_mm", MM))
    else:
        curve = Curve([(gap * MM, share) for gap, share in table.curve], far_power=FAR_POWER)
    return ReflectiveSensor(
        **_common(read, table),
        target_m=_two(table.target_mm),
        gap_m=read("gap_mm", MM),
        curve=curve,
        beam_spot_m=read("beam_spot_mm", MM),
        reflectance=read("reflectance"),
        threshold=read("threshold"),
        hysteresis=read("hysteresis"),
        ambient=read("ambient"),
        side_offset_m=read("side_offset_mm", MM),
        tilt_rad=read("tilt_deg", np.pi / 180),
        others=tuple(Other(low * MM, high * MM, gap * MM, share) for low, high, gap, share in table.others),
    )


def _distance(read: _Reader, table: DistanceTable) -> Sensor:
    from sensor_models.curves import Curve
    from sensor_models.distance import DistanceSensor

    common = _common(read, table)
    # the part measures at its own pace; a slower reading of it hides the faster one
    common["sample_period_s"] = np.maximum(common["sample_period_s"], read("update_period_ms", MS))
    return DistanceSensor(
        **common,
        curve=Curve([(gap * MM, volts) for gap, volts in table.curve], far_power=TRIANGULATION_POWER),
        min_m=typical(table.min_mm) * MM,
        max_m=typical(table.max_mm) * MM,
        noise=read("noise_mv", MV),
        adc_bits=table.adc_bits,
        adc_full_scale_v=typical(table.adc_full_scale_v),
        threshold_v=read("threshold_v"),
        hysteresis_v=read("hysteresis_v"),
        target_m=_two(table.target_mm),
        beam_spot_m=read("beam_spot_mm", MM),
    )


def _contact(read: _Reader, table: ContactTable) -> Sensor:
    from sensor_models.contact import ContactSensor

    common = _common(read, table)
    del common["broken_wire_reads_made"]  # follows from the wiring
    return ContactSensor(
        **common,
        pretravel_m=read("pretravel_mm", MM),
        differential_m=read("differential_mm", MM),
        overtravel_to_damage_m=read("overtravel_to_damage_mm", MM),
        lever_ratio=read("lever_ratio"),
        operating_force_n=read("operating_force_n"),
        longest_bounce_s=read("bounce_ms", MS),
        wiring=table.wiring,
    )


def _two(lengths_mm: tuple[float, ...]) -> tuple[float, float]:
    along, across = lengths_mm
    return along * MM, across * MM


_BUILDERS: dict[type[Any], Callable[[_Reader, Any], Sensor]] = {
    MagnetTable: _magnet_switch,
    ReflectiveTable: _reflective,
    DistanceTable: _distance,
    ContactTable: _contact,
}
