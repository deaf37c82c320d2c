"""Axes of the maps: which keys of a lift are worth varying, and from where to where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.compare.candidates import moved
from homing.lift import MM
from homing.sensors import build_sensor
from sensor_models.errors import InputError
from sensor_models.kinds import Approach, SensorKind
from sensor_models.mounting import grid_for, respond

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]
Marks = Mapping[str, tuple[float, ...]]

SPEED_KEY, PERIOD_KEY = "routine.fast_speed_mm_s", "controller.period_ms"
#: Speeds, periods and gaps reach from this share of the chosen value to this one.
SHARES = (0.25, 2.5)
#: A gap is varied by at least so much [mm]: fingers do not mount more exactly.
LEAST_GAP_WAY_MM = 4.0
#: A mounting height goes up by at least so much [mm].
LEAST_RISE_MM = 15.0
#: Room past a value that has to be on the axis, as a share of the axis.
ROOM = 0.08
#: Halvings in which the end of an axis is drawn back to where a lift can still exist.
HALVINGS = 10


@dataclass(frozen=True)
class Axis:
    """One key of the lift file and the values it takes, rising; ``chosen`` is that of the lift itself.

    ``short`` is for file names.
    """

    key: str
    short: str
    title: str
    unit: str
    chosen: float
    values: Floats


def axes_of(lift: Lift, cells: int, marks: Marks) -> tuple[tuple[Axis, Axis], ...]:
    """Pairs of axes (x, y) that this lift's sensor and routine have.

    Parameters
    ----------
    lift : Lift
    cells : int
        Values on an axis.
    marks : mapping
        Key of the lift file to values that its axis should reach.
    """
    speed, period = _speed(lift, cells, marks), _period(lift, cells, marks)
    height, gap = _height(lift, cells, marks), _gap(lift, cells, marks)
    pairs = ((gap, height), (speed, height), (speed, period))
    return tuple((x, y) for x, y in pairs if x is not None and y is not None)


def height_key(lift: Lift) -> str | None:
    """Key that moves the sensor along the travel; None where there is no sensor to mount.

    Head on, mounting height and gap are one dimension, and the gap is the one that is held.
    """
    table = lift.sensor()
    if table.kind is SensorKind.STALL:
        return None
    return f"sensor.{table.name}.{'gap_mm' if _is_head_on(lift) else 'mount_mm'}"


def _is_head_on(lift: Lift) -> bool:
    return getattr(lift.sensor(), "approach", None) is Approach.HEAD_ON


def _height(lift: Lift, cells: int, marks: Marks) -> Axis | None:
    key = height_key(lift)
    if key is None:
        return None
    chosen = lift.quantities()[key]
    if _is_head_on(lift):
        return _axis(lift, key, ("height", "gap at the hard stop", "mm"), _way(chosen), cells, marks)
    trip_mm = _trip_mm(lift)
    ends = (chosen - max(trip_mm, LEAST_RISE_MM), chosen + max(0.6 * trip_mm, LEAST_RISE_MM))
    return _axis(lift, key, ("height", "mounting height", "mm"), ends, cells, marks)


def _gap(lift: Lift, cells: int, marks: Marks) -> Axis | None:
    key = f"sensor.{lift.sensor().name}.gap_mm"
    if key not in lift.quantities() or _is_head_on(lift):
        return None
    return _axis(lift, key, ("gap", "gap", "mm"), _way(lift.quantities()[key]), cells, marks)


def _speed(lift: Lift, cells: int, marks: Marks) -> Axis | None:
    """The approach speed of the built-in routine; an own table has speeds of its own, phase by phase."""
    if lift.own_routine is not None:
        return None
    chosen = lift.routine.fast_speed_mm_s
    ends = (SHARES[0] * chosen, SHARES[1] * chosen)
    return _axis(lift, SPEED_KEY, ("speed", "approach speed", "mm/s"), ends, cells, marks)


def _period(lift: Lift, cells: int, marks: Marks) -> Axis | None:
    chosen = lift.controller.period_ms
    ends = (SHARES[0] * chosen, SHARES[1] * chosen)
    return _axis(lift, PERIOD_KEY, ("period", "loop period", "ms"), ends, cells, marks)


def _way(gap_mm: float) -> tuple[float, float]:
    low = min(SHARES[0] * gap_mm, gap_mm - LEAST_GAP_WAY_MM)
    return max(low, 0.0), max(SHARES[1] * gap_mm, gap_mm + LEAST_GAP_WAY_MM)


def _trip_mm(lift: Lift) -> float:
    """Nominal trip height [mm]; 0 where it is never made."""
    sensor = build_sensor(lift)
    trip_m = float(respond(sensor, grid_for(sensor, lift.lift.travel_mm * MM), 1).trip_m[0])
    return trip_m / MM if np.isfinite(trip_m) else 0.0


def _axis(
    lift: Lift, key: str, words: tuple[str, str, str], ends: tuple[float, float], cells: int, marks: Marks
) -> Axis:
    chosen = lift.quantities()[key]
    known = [mark for mark in marks.get(key, ()) if np.isfinite(mark)]
    low, high = min(ends[0], *known, chosen), max(ends[1], *known, chosen)
    room = ROOM * (high - low)
    low = low - room if low in known else low
    high = high + room if high in known else high
    low, high = _possible(lift, key, chosen, low), _possible(lift, key, chosen, high)
    return Axis(key, *words, chosen, np.linspace(low, high, cells))


def _possible(lift: Lift, key: str, chosen: float, wanted: float) -> float:
    """``wanted``, or as near to it as a lift can still exist, coming from the chosen value."""
    if _exists(lift, key, wanted):
        return wanted
    good, bad = chosen, wanted
    for _ in range(HALVINGS):
        middle = 0.5 * (good + bad)
        good, bad = (middle, bad) if _exists(lift, key, middle) else (good, middle)
    return good


def _exists(lift: Lift, key: str, value: float) -> bool:
    try:
        moved(lift, {key: value})
    except InputError:
        return False
    return True
