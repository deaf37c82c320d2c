"""Height at which the sensor trips, from the edges of its reading, where the log's zero is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.lift import fill_lift, new_runs
from homing.liftfile import Lift
from replay.fit_channels import Channels, channels
from replay.fit_model import hanging_m
from replay.fit_result import UNTOLD, Estimate
from replay.fit_segments import SPEED_WINDOW_S, STANDS_M_S
from replay.least_squares import solve
from replay.log import Log
from replay.units import Role

Floats = NDArray[np.float64]
MM, MS = 1e-3, 1e-3

#: A log whose first height is this close to the lift file's start height counts from the hard stop [m].
SAME_START_M = 3e-3
#: How well the start height is known: where counts go on from it, and where they begin at 0 there [m].
START_KNOWN_M, START_NOTED_M = 1e-3, 5e-3
#: A reading's delay beyond what the lift file says may be this much [s], and the mount be off by this [mm].
DELAY_S, MOUNT_MM = 3e-3, 3.0
#: Edges further off than this many times what both may be off belong to something else.
ODD_SHARE = 4.0
#: A start within this many counts of 0 is a count that was set to 0 there.
ZERO_COUNTS = 2.0


@dataclass(frozen=True)
class Edges:
    """Edges of the reading on the way in: spool heights over the hard stop [m], speeds [m/s], errors [m]."""

    height_m: Floats
    speed_m_s: Floats
    error_m: Floats


def fit_trip(logs: Sequence[Log], lift: Lift) -> list[Estimate]:
    """Mounting height of the routine's sensor; empty without readings of a sensor that has one.

    An edge lies between the heights of two rows; the faster the carriage, the further it has gone since
    the sensor tripped: height = trip height + stretch - speed x delay.
    """
    sensor = lift.sensor()
    key = f"sensor.{sensor.name}.mount_mm"
    numbers = lift.quantities()
    if key not in numbers or not any(Role.SENSOR in log for log in logs):
        return []
    tied = _tied(logs, lift)
    found = [edges_of(log, lift, zero_m) for log, (zero_m, _) in tied]
    if sum(len(edges.height_m) for edges in found) == 0:
        why = "not identifiable from these logs: nothing ties their zero to the hard stop"
        why = "not identifiable from these logs: no edge of the reading on the way in" if tied else why
        return [Estimate(key, numbers[key], "mm", MOUNT_MM, numbers[key], told=False, notes=(why,))]
    measured = measured_trip_m(logs, lift)
    assert measured is not None
    height, error = measured
    off_mm = (height - nominal_trip_m(lift)) / MM
    if abs(off_mm) > ODD_SHARE * float(np.hypot(MOUNT_MM, error / MM)):
        why = (
            f"not identifiable from these logs: their edges lie {off_mm:+.0f} mm from where the sensor trips"
        )
        return [Estimate(key, numbers[key], "mm", MOUNT_MM, numbers[key], told=False, notes=(why,))]
    # what the lift file says counts as well, known to the accuracy of a ruler
    share = MOUNT_MM**2 / (MOUNT_MM**2 + (error / MM) ** 2)
    value, error_mm = numbers[key] + share * off_mm, share**0.5 * error / MM
    notes = (f"from {sum(len(each.height_m) for each in found)} edges; {_tie_words(tied)}",)
    told = error_mm < UNTOLD * MOUNT_MM
    return [Estimate(key, value, "mm", error_mm, numbers[key], told=told, notes=notes)]


def measured_trip_m(logs: Sequence[Log], lift: Lift) -> tuple[float, float] | None:
    """Trip height as the logs alone show it and its standard error [m]; None when nothing ties their zero."""
    tied = _tied([log for log in logs if Role.SENSOR in log], lift)
    found = [edges_of(log, lift, zero_m) for log, (zero_m, _) in tied]
    if sum(len(edges.height_m) for edges in found) == 0:
        return None
    height_m, error_m = _trip(found, lift)
    return height_m, float(np.hypot(error_m, max(known for _, (_, known) in tied)))


def _tied(logs: Sequence[Log], lift: Lift) -> list[tuple[Log, tuple[float, float]]]:
    """Logs whose zero is known over the hard stop, and how it is."""
    return [(log, zero) for log in logs if (zero := zero_of(log, lift)) is not None]


def _tie_words(tied: Sequence[tuple[Log, tuple[float, float]]]) -> str:
    noted = any(known >= START_NOTED_M for _, (_, known) in tied)
    if noted:
        good = f"taken as good to {START_NOTED_M / MM:g} mm"
        return f"counts begin at 0 where the lift file says the lift starts, {good}"
    return "the log counts from the hard stop, as its first height shows"


def zero_of(log: Log, lift: Lift) -> tuple[float, float] | None:
    """Height of the log's zero over the hard stop and how well it is known [m]; None when nothing tells."""
    found = channels(log, lift)
    if found is None or not np.isfinite(found.height_m[0]):
        return None
    runs = new_runs(1)
    fill_lift(runs, lift, {})
    start_m = lift.lift.start_mm * MM
    hanging = float(hanging_m(runs)[0]) if start_m > 0.0 else 0.0
    first = float(found.height_m[0])
    if abs(first - start_m - hanging) < SAME_START_M:
        return 0.0, START_KNOWN_M
    if abs(first) <= ZERO_COUNTS * found.count_m:
        return start_m + hanging - first, START_NOTED_M
    return None


def edges_of(log: Log, lift: Lift, zero_m: float) -> Edges:
    """Edges of the reading while coming in, before the count was first reset."""
    found = channels(log, lift)
    if found is None or Role.SENSOR not in log:
        return Edges(np.empty(0), np.empty(0), np.empty(0))
    end = int(log.breaks[0]) if len(log.breaks) else len(log)
    end = min(end, int(log.starts[1])) if len(log.starts) > 1 else end
    made = log[Role.SENSOR][:end]
    rows = [int(k) for k in np.flatnonzero((made[1:] == 1.0) & (made[:-1] == 0.0)) + 1]
    kept = [edge for k in rows if (edge := _edge(found, k, zero_m)) is not None]
    table = np.array(kept).reshape(-1, 3)
    return Edges(table[:, 0], table[:, 1], table[:, 2])


def _edge(found: Channels, k: int, zero_m: float) -> tuple[float, float, float] | None:
    """Height, speed inwards and error of the edge seen in row ``k``; None when not coming in."""
    back = max(0, k - max(2, round(SPEED_WINDOW_S / found.period_s)))
    step_s = float(found.time_s[k] - found.time_s[k - 1])
    passed_s = float(found.time_s[k] - found.time_s[back])
    speed = float(found.height_m[back] - found.height_m[k]) / max(passed_s, 1e-9)
    if not np.isfinite(speed) or speed < STANDS_M_S or step_s <= 0.0:
        return None
    middle = 0.5 * float(found.height_m[k] + found.height_m[k - 1]) + zero_m
    spread = max(speed * step_s, found.count_m) * 12.0**-0.5
    return middle, speed, spread


def _trip(found: Sequence[Edges], lift: Lift) -> tuple[float, float]:
    """Carriage height of the trip and its standard error [m]."""
    height = np.concatenate([each.height_m for each in found])
    speed = np.concatenate([each.speed_m_s for each in found])
    error = np.concatenate([each.error_m for each in found])
    runs = new_runs(1)
    fill_lift(runs, lift, {})
    stretch = float(hanging_m(runs)[0]) - (runs.friction_n[0] + runs.viscous_n_s_per_m[0] * speed) / float(
        runs.pull_n_per_m[0]
    )
    delay_s = lift.controller.sensor_latency_ms * MS + 0.5 * sampling_s(lift)

    def off(x: Floats) -> Floats:
        rows = (x[0] + stretch - speed * (delay_s + x[1]) - height) / error
        return np.append(rows, x[1] / DELAY_S)

    robust = np.append(np.full(len(height), 3.0), np.inf)
    start = np.array([float(np.median(height - stretch)), 0.0])
    solution = solve(off, start, robust_from=robust, size=np.array([1e-3, DELAY_S]), unit_scatter=True)
    rows = solution.residuals[:-1]
    widen = max(1.0, float(np.sqrt(rows @ rows / max(len(rows) - 1, 1))))
    return float(solution.values[0]), float(solution.std_errors[0]) * widen


def sampling_s(lift: Lift) -> float:
    """Sampling period of the routine's sensor, 0 for a continuous one [s]."""
    from homing.sensors import build_sensor

    return float(np.ravel(build_sensor(lift).sample_period_s)[0])


def nominal_trip_m(lift: Lift) -> float:
    """Trip height of the routine's sensor at nominal values [m]."""
    from homing.sensors import build_sensor
    from sensor_models.mounting import grid_for, respond

    sensor = build_sensor(lift)
    return float(respond(sensor, grid_for(sensor, lift.lift.travel_mm * MM), 1).trip_m[0])
