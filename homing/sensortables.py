"""The ``[[sensor]]`` and ``[[candidate]]`` tables of a lift file, one model a kind.

A number may be spread by its data sheet (``Spread``); in a candidate it may be a span (``Range``).
``values.typical`` gives the one number to calculate with.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import PlainValidator

from homing.liftmodels import Share, Table, Text
from homing.values import (
    SensorNumber,
    choice,
    count,
    is_number,
    lengths,
    number,
    points,
    refuse,
    spread,
)
from homing.words import Level, MagnetShape
from sensor_models.kinds import Approach, Facing, SensorKind, SwitchKind, Wiring

Anywhere = Annotated[SensorNumber, spread()]
Positive = Annotated[SensorNumber, spread(above=0)]
NotNegative = Annotated[SensorNumber, spread(least=0)]
Part = Annotated[SensorNumber, spread(least=0, most=1)]
Points = tuple[tuple[float, float], ...]
Others = tuple[tuple[float, float, float, float], ...]


def _others(value: Any) -> Others:
    """Check for what else a reflective part sees: ``[[low_mm, high_mm, gap_mm, reflectance], ...]``."""
    rows: list[Any] = value if isinstance(value, list) else [None]
    for row in rows:
        if not isinstance(row, list) or len(row) != 4 or not all(map(is_number, row)):
            raise refuse("be rows of four numbers [[low_mm, high_mm, gap_mm, reflectance], ...]")
        low, high, gap, reflectance = row
        if not low < high or gap < 0 or not 0 <= reflectance <= 1:
            raise refuse("have low_mm below high_mm, gap_mm of at least 0 and a reflectance from 0 to 1")
    return tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in rows)


class MagnetTarget(Table):
    """``magnet = {...}``: the magnet on the carriage; remanence from its grade or as given [T]."""

    shape: Annotated[MagnetShape, choice(MagnetShape)]
    diameter_mm: Positive | None = None
    height_mm: Positive | None = None
    size_mm: Annotated[tuple[float, ...], lengths("along travel", "across", "thickness")] | None = None
    grade: Text | None = None
    remanence_t: Annotated[SensorNumber, spread(above=0, most=1.6)]


class SensorTable(Table):
    """Keys of every kind."""

    kind: ClassVar[SensorKind]
    name: Text
    part: Text | None = None
    mount_mm: Anywhere
    active: Annotated[Level, choice(Level)]
    open_wire_reads: Annotated[Level, choice(Level)]
    noise_flip_probability: Share
    sample_period_ms: NotNegative


class MagnetTable(SensorTable):
    """A magnet on the carriage, a Hall switch on the frame."""

    kind = SensorKind.MAGNET
    magnet: MagnetTarget
    facing: Annotated[Facing, choice(Facing)]
    approach: Annotated[Approach, choice(Approach)]
    gap_mm: NotNegative
    side_offset_mm: Anywhere
    switch: Annotated[SwitchKind, choice(SwitchKind)]
    operate_mt: Positive
    release_mt: Anywhere
    hysteresis_min_mt: NotNegative
    switch_temp_coeff_pct_per_k: Anywhere
    magnet_temp_coeff_pct_per_k: Anywhere
    temperature_c: Annotated[SensorNumber, spread(least=-60, most=200)]


class ReflectiveTable(SensorTable):
    """A reflective infrared part that looks across the travel at a target on the carriage."""

    kind = SensorKind.REFLECTIVE
    target_mm: Annotated[tuple[float, ...], lengths("along", "across")]
    gap_mm: Positive
    beam_spot_mm: Positive
    curve: Annotated[Points, points("mm", "fraction of peak")] | None = None
    peak_gap_mm: Positive | None = None
    reflectance: Annotated[SensorNumber, spread(above=0, most=1)]
    threshold: Annotated[SensorNumber, spread(above=0, most=1)]
    hysteresis: Part
    ambient: Part
    side_offset_mm: Anywhere
    tilt_deg: Annotated[SensorNumber, spread(least=-60, most=60)]
    others: Annotated[Others, PlainValidator(_others)] = ()


class DistanceTable(SensorTable):
    """A triangulating infrared part that looks along the travel at a target on the carriage."""

    kind = SensorKind.DISTANCE
    curve: Annotated[Points, points("mm", "V")]
    min_mm: NotNegative
    max_mm: Positive
    update_period_ms: Positive
    noise_mv: NotNegative
    adc_bits: Annotated[int, count(least=1, most=32)]
    adc_full_scale_v: Positive
    threshold_v: Positive
    hysteresis_v: NotNegative
    target_mm: Annotated[tuple[float, ...], lengths("along", "across")]
    beam_spot_mm: Positive


class ContactTable(SensorTable):
    """A snap switch that the carriage presses."""

    kind = SensorKind.CONTACT
    pretravel_mm: Positive
    differential_mm: Positive
    overtravel_to_damage_mm: Positive
    operating_force_n: NotNegative
    bounce_ms: NotNegative
    wiring: Annotated[Wiring, choice(Wiring)]
    lever_ratio: Positive


class StallTable(Table):
    """No sensor: the hard stop itself. Only its name and its height, which is 0."""

    kind: ClassVar[SensorKind] = SensorKind.STALL
    name: Text
    part: None = None
    mount_mm: Annotated[float, number(least=0, most=0)]


AnySensor = MagnetTable | ReflectiveTable | DistanceTable | ContactTable | StallTable

#: Word in the file -> its model.
MODELS: dict[str, type[AnySensor]] = {
    "magnet": MagnetTable,
    "reflective": ReflectiveTable,
    "distance": DistanceTable,
    "contact": ContactTable,
    "stall": StallTable,
}
