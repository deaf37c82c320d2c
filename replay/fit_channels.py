"""A log's columns as the equations need them, and what its commands were between two rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from replay.log import Log
from replay.units import Quantity, Role

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
MM = 1e-3

#: Pieces in which a command that changes steadily between two rows is held.
RAMP_PIECES = 4
#: Bends of the voltage that may move the spool by more than this many counts are allowed for, with this
#: share of the largest effect as standard deviation (a bend is anywhere between the rows).
KINK_COUNTS, KINK_SPREAD = 0.02, 0.5


@dataclass(frozen=True)
class Channels:
    """A log's columns in SI as the model needs them, all (n,); ``usable`` tells rows without holes."""

    time_s: Floats
    height_m: Floats
    duty: Floats
    bus_v: Floats
    usable: Flags
    count_m: float
    period_s: float


def channels(log: Log, lift: Lift) -> Channels | None:
    """Counts and commands in SI; None when the log has no commands.

    Without a battery column the voltages are 0, which stands for the lift file's battery.
    """
    if Role.COMMAND not in log:
        return None
    count_mm = log.mm_per_count or lift.drive.mm_per_count
    command = log[Role.COMMAND]
    unit = log.unit(Role.COMMAND)
    volts = unit is not None and unit.quantity is Quantity.VOLTAGE
    bus = _filled(log[Role.BATTERY]) if Role.BATTERY in log else np.zeros(len(log))
    # no battery column: volts are a share of the nominal supply, and the lift file's battery stays
    duty = command / np.where(bus > 1.0, bus, lift.drive.nominal_voltage_v) if volts else command
    step = np.diff(log.time_s)
    return Channels(
        time_s=log.time_s,
        height_m=log.counts * count_mm * MM,
        duty=np.clip(duty, -1.0, 1.0),
        bus_v=bus,
        usable=np.isfinite(log.counts) & np.isfinite(duty),
        count_m=_grain_mm(log, lift, count_mm) * MM,
        period_s=float(np.median(step[step > 0.0])),
    )


def spool_per_volt_second_m(lift: Lift) -> float:
    """How far the spool turns for a volt-second once the motor's back-EMF has settled [m/(V s)]."""
    return lift.drive.free_speed_mm_s * MM / lift.drive.nominal_voltage_v


def _grain_mm(log: Log, lift: Lift, count_mm: float) -> float:
    """Size of one step of the height column [mm]: that of the encoder where lengths are logged."""
    return lift.drive.mm_per_count if log.scaled_by_itself else count_mm


def _filled(values: Floats) -> Floats:
    """A slow channel with its holes bridged by straight lines."""
    known = np.flatnonzero(np.isfinite(values))
    if len(known) == 0:
        return np.zeros_like(values)
    filled: Floats = np.interp(np.arange(len(values)), known, values[known])
    return filled


def kinks_of(found: Channels, part: slice, m_per_v_s: float) -> tuple[tuple[int, float], ...]:
    """Where straight lines between the rows may miss a bend of the voltage, and what that makes.

    A bend by b [V/s] somewhere between two rows h apart leaves at most b h^2 / 8 of voltage over time.
    """
    bus = np.where(found.bus_v[part] > 1.0, found.bus_v[part], np.nanmax(found.bus_v[part], initial=12.0))
    bend = np.abs(np.diff(found.duty[part] * bus, n=2, prepend=0.0, append=0.0))
    bend[[0, -1]] = 0.0
    step_m = bend * found.period_s / 8.0 * m_per_v_s
    sharp = step_m > KINK_COUNTS * found.count_m
    kinks = []
    for first, last in runs_of(sharp, 2):
        kinks.append((last, float(KINK_SPREAD * np.sum(step_m[first:last]))))
    return tuple(kinks)


def command_rows(time_s: Floats, duty: Floats, bus_v: Floats, *, ramps: bool) -> Floats:
    """Piecewise constant commands (m, 3): as logged, or following straight lines between the rows.

    A drive with a loop of its own changes its voltage all the time and the log shows it at the rows; a
    program that sends duties holds each until the next.
    """
    if not ramps:
        return np.column_stack([time_s, duty, bus_v])
    share = (np.arange(RAMP_PIECES) + 0.5) / RAMP_PIECES
    place = np.arange(len(time_s) - 1)[:, None]
    begin = (place + np.arange(RAMP_PIECES) / RAMP_PIECES).ravel()
    middle = (place + share).ravel()
    grid = np.arange(len(time_s))
    held = [np.interp(middle, grid, column) for column in (duty, bus_v)]
    return np.column_stack([np.interp(begin, grid, time_s), *held])


def runs_of(moving: Flags, pause: int) -> list[tuple[int, int]]:
    """Begin and end of every run of moving rows; short pauses are bridged."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], moving, [False]]).astype(np.int8)))
    runs: list[tuple[int, int]] = []
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and first - runs[-1][1] < pause:
            runs[-1] = (runs[-1][0], last)
        else:
            runs.append((first, last))
    return runs
