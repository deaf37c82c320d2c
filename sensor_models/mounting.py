"""A sensor mounted on the lift: its response curve along the travel, tabulated once a run.

Flow of one call:

1. ``grid_for`` picks where to tabulate, from the nominal sensor and the travel
2. ``respond`` evaluates the sensor's equation there for every run
3. the simulation reads the table (``response_kernel.look_up``) and compares with the thresholds
4. ``respond`` also states the quasi-static heights at which each run trips and lets go
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensor_models.checks import per_run
from sensor_models.errors import InputError
from sensor_models.kinds import Floats, SensorKind
from sensor_models.sensor import Sensor

# The same as in response_kernel, which is not imported here because it loads the compiler.
N_FINE = 256
N_COARSE = 96

#: The table goes this far past both ends of the travel [m].
BEYOND_M = 0.05
#: A carriage does not go deeper into its stop than this; the fine part need not either [m].
DEEPEST_M = 0.012
#: Step at which the nominal response is searched for where it changes [m].
SEARCH_STEP_M = 0.0005
#: Room left around the nominal response for tolerances of the mounting [m].
ROOM_M = 0.006


@dataclass(frozen=True)
class Grid:
    """Heights at which a response is tabulated: a fine part where it changes, a coarse one everywhere.

    Parameters
    ----------
    fine_low_m, fine_step_m : float
        First height and step of the N_FINE fine samples [m].
    travel_m : float
        Travel of the lift [m]; the N_COARSE coarse samples reach 50 mm past both of its ends.
    """

    fine_low_m: float
    fine_step_m: float
    travel_m: float

    @property
    def coarse_low_m(self) -> float:
        return -BEYOND_M

    @property
    def coarse_step_m(self) -> float:
        return (self.travel_m + 2.0 * BEYOND_M) / (N_COARSE - 1)

    @property
    def steps(self) -> tuple[float, float, float, float]:
        """Fine low, fine step, coarse low, coarse step [m]: what the compiled look-up takes."""
        return (self.fine_low_m, self.fine_step_m, self.coarse_low_m, self.coarse_step_m)

    def positions(self) -> Floats:
        """Return the heights of a table's columns [m], fine ones first, shape (352,)."""
        fine = self.fine_low_m + self.fine_step_m * np.arange(N_FINE)
        coarse = self.coarse_low_m + self.coarse_step_m * np.arange(N_COARSE)
        return np.concatenate([fine, coarse])

    def rising(self) -> Floats:
        """Return the same heights in rising order, with both ends of the travel [m], shape (m,).

        The coarse ones inside the fine part are left out.
        """
        positions = self.positions()
        fine, coarse = positions[:N_FINE], positions[N_FINE:]
        heights = np.concatenate([coarse[coarse < fine[0]], fine, coarse[coarse > fine[-1]]])
        return np.union1d(heights, [0.0, self.travel_m])


@dataclass(frozen=True, eq=False)
class SensorBatch:
    """Responses of n runs: the table, the thresholds and the heights at which each run switches.

    Parameters
    ----------
    grid : Grid
        Where the columns of ``signal`` stand.
    signal : ndarray, shape (n, 352)
        Signed response [signal units], C-contiguous.
    two_sided : bool
        Compare the size of what is read from ``signal``, not its sign (omnipolar switch).
    operate, release : ndarray, shape (n,)
        Thresholds [signal units].
    trip_m, release_m, window_low_m : ndarray, shape (n,)
        On the main window, the one with the strongest signal on the travel: height at which it is made
        on the way in, at which it lets go on the way out, and at which it lets go again further in [m].
        Infinite where it never lets go up to 50 mm past the travel, -inf where it stays made to 50 mm
        below the stop; all are NaN when never made.
    """

    grid: Grid
    signal: Floats
    two_sided: bool
    operate: Floats
    release: Floats
    trip_m: Floats
    release_m: Floats
    window_low_m: Floats

    def __len__(self) -> int:
        return len(self.operate)


def grid_for(sensor: Sensor, travel_m: float) -> Grid:
    """Choose the grid for a nominal sensor so that it also serves the sensors within its tolerances.

    The fine part covers where the signal has risen a share (``fine_share``) of the way from what it is
    at the top of the travel to its release threshold, side lobes included, with room at both ends. Other
    things than the target are left to the coarse part: one narrower than its step is not seen truly.
    """
    if sensor.runs != 1:
        raise InputError("takes the nominal sensor", key="grid_for", got=f"{sensor.runs} runs")
    if not travel_m > 0.0:
        raise InputError("must be above 0", key="travel_m", got=travel_m)
    low, high = -DEEPEST_M, travel_m + BEYOND_M
    x_m = np.linspace(low, high, max(2, int((high - low) / SEARCH_STEP_M)))
    wanted = x_m[_is_of_interest(sensor.main, x_m)]
    start = max(low, float(wanted[0]) - ROOM_M)
    end = min(high, float(wanted[-1]) + ROOM_M)
    return Grid(start, (end - start) / (N_FINE - 1), float(travel_m))


def _is_of_interest(sensor: Sensor, x_m: Floats) -> NDArray[np.bool_]:
    response = sensor.response(x_m)[0]
    operate, release = (float(threshold[0]) for threshold in sensor.thresholds())
    if sensor.kind is SensorKind.MAGNET:
        # Both poles count, whatever the switch: the magnet may be turned over.
        response, release = np.abs(response), abs(release)
    idle = float(response[-1])
    level = min(release if release > idle else operate, operate, float(response.max()))
    return np.asarray(response >= level - (1.0 - sensor.fine_share) * abs(level - idle))


def respond(sensor: Sensor, grid: Grid, runs: int) -> SensorBatch:
    """Tabulate a sensor's response for a number of runs and find where each run switches.

    Parameters
    ----------
    sensor : Sensor
        One sensor, repeated, or an ensemble of exactly ``runs`` sensors.
    grid : Grid
        From ``grid_for``.
    runs : int
        Number of rows wanted.
    """
    if sensor.runs not in (1, runs):
        raise InputError(f"must hold 1 or {runs} sensors", key="sensor", got=sensor.runs)
    operate, release = (per_run(threshold, runs) for threshold in sensor.thresholds())
    signal = sensor.response(grid.positions())
    signal = np.ascontiguousarray(np.broadcast_to(signal, (runs, signal.shape[1])))
    if sensor.kind is SensorKind.STALL:
        at_stop, never = np.zeros(runs), np.full(runs, -np.inf)
        return SensorBatch(grid, signal, False, operate, release, at_stop, at_stop, never)
    found_m = _windows(grid, signal, sensor.two_sided, operate, release)
    return SensorBatch(grid, signal, sensor.two_sided, operate, release, *found_m)


def _windows(grid: Grid, signal: Floats, two_sided: bool, operate: Floats, release: Floats) -> Floats:
    from sensor_models.response_kernel import find_windows

    x_m = grid.rising()
    first, last = np.searchsorted(x_m, [0.0, grid.travel_m]).tolist()
    found_m = np.empty((len(signal), 3))
    find_windows(signal, grid.steps, two_sided, x_m, first, last + 1, operate, release, found_m)
    return np.ascontiguousarray(found_m.T)


def interpolate(signal_row: Floats, grid: Grid, x_m: Floats) -> Floats:
    """Return the response that the simulation reads from one row at heights x_m (m,) [m], shape (m,)."""
    from sensor_models.response_kernel import look_up_many

    heights = np.ascontiguousarray(x_m, dtype=np.float64)
    signal = np.empty_like(heights)
    look_up_many(np.ascontiguousarray(signal_row, dtype=np.float64), grid.steps, heights, signal)
    return signal


def zones(
    signal_row: Floats, positions: Floats, operate: float, two_sided: bool = False
) -> tuple[tuple[float, float], ...]:
    """Return every range of heights in which the signal reaches ``operate`` [m], strongest first.

    Ends are interpolated on straight lines between samples; a range cut off by the end of the table
    ends there. With ``two_sided`` ranges of either sign count.
    """
    order = np.argsort(positions, kind="stable")
    x_m, signal = np.asarray(positions)[order], np.asarray(signal_row)[order]
    found = _ranges(x_m, signal - operate)
    if two_sided:
        found += _ranges(x_m, -signal - operate)
    return tuple((low, high) for _, low, high in sorted(found, key=lambda zone: -zone[0]))


def _ranges(x_m: Floats, level: Floats) -> list[tuple[float, float, float]]:
    """Return (height of the level's top, low [m], high [m]) of each range where level is not negative."""
    made = np.concatenate([[False], level >= 0.0, [False]])
    starts = np.flatnonzero(made[1:] & ~made[:-1]).tolist()
    ends = (np.flatnonzero(made[:-1] & ~made[1:]) - 1).tolist()
    return [
        (float(level[a : b + 1].max()), _touch(x_m, level, a, a - 1), _touch(x_m, level, b, b + 1))
        for a, b in zip(starts, ends, strict=True)
    ]


def _touch(x_m: Floats, level: Floats, inside: int, outside: int) -> float:
    if not 0 <= outside < len(x_m) or x_m[outside] == x_m[inside]:
        return float(x_m[inside])
    share = level[inside] / (level[inside] - level[outside])
    return float(x_m[inside] + share * (x_m[outside] - x_m[inside]))


def shortfall(sensor: Sensor, batch: SensorBatch) -> str:
    """Say by how much a sensor that is never made misses; empty if every run is made.

    Speaks of the run that misses by most.
    """
    blind = np.flatnonzero(np.isnan(batch.trip_m))
    if not len(blind):
        return ""
    strongest = np.array([_strongest(batch, run) for run in blind.tolist()])
    worst = int(np.argmax(batch.operate[blind] - strongest))
    operate, scale, unit = float(batch.operate[blind[worst]]), sensor.display_scale, sensor.unit
    return (
        f"strongest {sensor.quantity} {strongest[worst] * scale:.3g} {unit} at the closest point, "
        f"needs {operate * scale:.3g} {unit}: short by {(operate - strongest[worst]) * scale:.3g} {unit}"
    )


def _strongest(batch: SensorBatch, run: int) -> float:
    x_m = batch.grid.rising()
    on_travel = x_m[(x_m >= 0.0) & (x_m <= batch.grid.travel_m)]
    response = interpolate(batch.signal[run], batch.grid, on_travel)
    return float((np.abs(response) if batch.two_sided else response).max())
