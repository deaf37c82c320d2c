"""In what a point of the cube departs from nominal, in words and in the units of the lift file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.draws import FIRST_COLUMNS, Start
from homing.lift import MM, MS
from homing.worst.cube import FAULT_NAMES, FIRST_NAMES, RUN_NUMBER, Cube
from homing.worst.timing import (
    JITTER_BOUND,
    JITTER_REACH,
    LATE_LOOP,
    LATE_PLACE,
    LOOP_LENGTH,
    LOOP_PHASE,
    SAMPLING_PHASE,
    LateLoop,
    begin_above_m,
    late_length_s,
    late_loops,
    latest_s,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Departure:
    """One drawn number away from nominal, in words and in the unit of the lift file."""

    what: str
    nominal: str
    value: str


def departures(cube: Cube, point: Floats) -> tuple[Departure, ...]:
    """What of a point (d,) is away from nominal."""
    away = [cube.names[i] for i in np.flatnonzero(point != cube.nominal)]
    # a late loop is told together with its place, which has no meaning alone
    return tuple(_departure(cube, name, point) for name in away if name != LATE_PLACE)


def _departure(cube: Cube, name: str, point: Floats) -> Departure:
    i = cube.place_of(name)
    row, nominal, share = point[None, :], float(cube.nominal[i]), float(point[i])
    if name == "start":
        return Departure(name, "at its start height", Start(int(cube.draws(row).start_kind[0])).words)
    if FIRST_COLUMNS <= i < cube.drawn:
        return Departure(name, f"{cube.value(name, nominal):.4g}", f"{cube.value(name, share):.4g}")
    if name == RUN_NUMBER:
        return Departure(name, "as written", f"those of run {int(cube.run_numbers(row)[0])}")
    if name in cube.timing:
        return _timing(cube, name, point)
    if name == "fault":
        return Departure(name, "none", cube.faults[int(cube.fault_numbers(row)[0])].name)
    if name in (*FIRST_NAMES, *FAULT_NAMES):
        return Departure(name, f"{nominal:.3f} of its range", f"{share:.3f} of its range")
    raise AssertionError(name)


def _timing(cube: Cube, name: str, point: Floats) -> Departure:
    controller, share = cube.setting.lift.controller, float(point[cube.place_of(name)])
    if name == LOOP_PHASE:
        return Departure(name, "a whole first loop", f"{share:.1%} of the first loop is over at the start")
    if name == LOOP_LENGTH:
        reach_ms = min(JITTER_REACH * controller.jitter_ms, JITTER_BOUND * controller.period_ms)
        shift = (2.0 * share - 1.0) * reach_ms
        return Departure(
            name, f"{controller.period_ms:g} ms", f"{controller.period_ms + shift:.4g} ms on average"
        )
    if name == SAMPLING_PHASE:
        return Departure(name, "as drawn", f"{share:.1%} of its period later")
    assert name == LATE_LOOP
    return Departure(name, "none", _late(cube, point))


def _late(cube: Cube, point: Floats) -> str:
    """One late loop: how long, and where or when it comes."""
    setting = cube.setting
    kind = LateLoop(int(late_loops(point[None, cube.place_of(LATE_LOOP)])[0]))
    place = float(point[cube.place_of(LATE_PLACE)])
    late_s = late_length_s(setting, cube.batch(point[None, :]).runs.late_s)
    long = f"one of {late_s[0] / MS:.4g} ms"
    if kind.way == 0:
        return f"{long}, {place * latest_s(setting):.4g} s after the start"
    above_mm = begin_above_m(setting, np.array([place]), late_s)[0] / MM
    side = "above" if above_mm > 0.0 else "below"
    return f"{long}, on the {kind.words}, from {abs(above_mm):.2f} mm {side} the trip height on"
