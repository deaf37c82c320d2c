"""Which numbers of a lift the routine on the robot rests on, with the unit and the origin of each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

from homing.lift import MM
from homing.liftfile import BUILT_IN
from homing.values import SensorNumber, typical
from homing.words import Word
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting


class Origin(Enum):
    """Where a number comes from."""

    GIVEN = "given"
    PART = "part"
    ASSUMED = "assumed"
    WORKED_OUT = "worked out"
    BUILT_IN = "built-in routine"


@dataclass(frozen=True)
class Quantity:
    """One setting: its key, value in the unit, kind of origin and the origin in words."""

    key: str
    value: Any
    unit: str
    origin: Origin
    source: str

    @property
    def origin_words(self) -> str:
        """Origin as it stands in a comment."""
        return self.source if self.origin.value in self.source else f"{self.origin.value}: {self.source}"


#: Longest first: ``_mm_s`` must not be taken for ``_s``.
_UNITS: tuple[tuple[str, str], ...] = (
    ("_n_s_per_m", "N s/m"), ("_n_per_mm", "N/mm"), ("_mm_s2", "mm/s2"), ("_mm_s", "mm/s"), ("_mm", "mm"),
    ("_ms", "ms"), ("_rpm", "1/min"), ("_nm", "N m"), ("_deg", "deg"), ("_mt", "mT"), ("_s", "s"),
    ("_v", "V"), ("_a", "A"), ("_kg", "kg"), ("_n", "N"),
)  # fmt: skip

#: What the routine on the robot rests on besides ``[routine]``, as far as the lift has it.
_KEYS: tuple[str, ...] = (
    "controller.period_ms", "drive.command", "drive.when_off", "drive.acceleration_mm_s2",
    "drive.deceleration_mm_s2", "drive.current_limit_a", "drive.encoder_counts_per_rev", "drive.encoder_on",
    "drive.gear_ratio", "drive.spool_diameter_mm", "drive.pulley_diameter_mm", "drive.lead_mm",
    "drive.travel_per_line",
)  # fmt: skip
_SENSOR_KEYS = ("part", "mount_mm", "active", "open_wire_reads")
_PARTS = ("part ", "motor ", "grade ")


def unit_of(key: str) -> str:
    """Unit that a key's name ends in; empty where it has none."""
    word = key.rpartition(".")[2]
    return next((unit for end, unit in _UNITS if word.endswith(end)), "")


def settings(setting: Setting) -> tuple[Quantity, ...]:
    """Every setting of the routine and of what it rests on, in the order of the lift file."""
    return tuple(_settings(setting))


def given_or_assumed(lift: Lift, key: str, value: Any) -> Quantity:
    """A key of the lift file with its origin."""
    unit = unit_of(key)
    for assumed in lift.assumed:
        if assumed.key == key:
            part = assumed.origin.startswith(_PARTS)
            return Quantity(key, value, unit, Origin.PART if part else Origin.ASSUMED, assumed.origin)
    place = BUILT_IN if lift.source == BUILT_IN else "lift file"
    return Quantity(key, value, unit, Origin.GIVEN, f"given in the {place}")


def tidy(value: float) -> float:
    """The number without the last digits' noise of a conversion of units."""
    return float(f"{value:.12g}")


def counts_per_mm(setting: Setting) -> Quantity:
    """Scale of the encoder."""
    scale = 1.0 / setting.lift.drive.mm_per_count
    source = "worked out from encoder, gear and what it winds, drive.*"
    return Quantity("counts_per_mm", tidy(scale), "counts/mm", Origin.WORKED_OUT, source)


def reference(setting: Setting) -> Quantity:
    """Height that is declared at the edge."""
    lift, given_mm = setting.lift, setting.lift.routine.reference_mm
    if given_mm is not None:
        return given_or_assumed(lift, "routine.reference_mm", given_mm)
    source = "worked out: the trip height of the routine's sensor at nominal values"
    return Quantity("routine.reference_mm", tidy(setting.trip_m / MM), "mm", Origin.WORKED_OUT, source)


def _settings(setting: Setting) -> Iterator[Quantity]:
    lift = setting.lift
    for key, value in _routine(lift):
        yield reference(setting) if key == "routine.reference_mm" else given_or_assumed(lift, key, value)
    for key in _KEYS:
        section, _, name = key.partition(".")
        value = getattr(getattr(lift, section), name)
        if value is not None:
            yield given_or_assumed(lift, key, _shown(value))
    yield counts_per_mm(setting)
    yield from _sensor(setting)


def _routine(lift: Lift) -> Iterator[tuple[str, Any]]:
    """Settings of ``[routine]``; beside an own table only what then has a meaning, and its numbers."""
    keys: tuple[str, ...] = tuple(type(lift.routine).model_fields)
    if lift.own_routine is not None:
        from homing.own.reading import SHARED_KEYS

        keys = SHARED_KEYS
    for key in keys:
        yield f"routine.{key}", _shown(getattr(lift.routine, key))
    if lift.own_routine is not None:
        from homing.own.numbers import numbers

        yield from numbers(lift.own_routine)


def _sensor(setting: Setting) -> Iterator[Quantity]:
    lift = setting.lift
    sensor = lift.sensor()
    for name in _SENSOR_KEYS:
        value = getattr(sensor, name, None)
        if value is not None:
            yield given_or_assumed(lift, f"sensor.{sensor.name}.{name}", _shown(value))
    if sensor.kind is SensorKind.STALL:
        return
    source = "worked out from the sensor's response at nominal values"
    for word, height_m in (("trip_mm", setting.trip_m), ("release_mm", setting.release_m)):
        yield Quantity(f"sensor.{sensor.name}.{word}", tidy(height_m / MM), "mm", Origin.WORKED_OUT, source)


def _shown(value: Any) -> Any:
    """A value as the lift file would write it; a spread counts with its typical value."""
    if isinstance(value, Word):
        return value.word
    if isinstance(value, SensorNumber) and not isinstance(value, bool | int):
        return typical(value)
    return value
