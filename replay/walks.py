"""What the edge's walk over the visits goes with: one step, way travelled, time under load, height reached.

Each account is a straight line in one physical driver of the edge position; a driver that does not explain
the edges within their sampling intervals leaves a large misfit. The accounts are compared as in `edges`, by
the Bayesian information criterion with the known variance of each edge.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from replay.diagnosis import Visit
from replay.track import Track

Floats = NDArray[np.float64]

#: Fewer edges than this fit any account.
FEWEST = 4
#: What an edge varies by beside its sampling interval [mm]: sway, string lag, the sensor itself.
OWN_MM = 1.0
#: Times in which a string under load gives way and comes back [s]: seconds in new braid, a minute in worn.
CREEP_S = (4.0, 8.0, 16.0, 40.0)
#: The string is loaded above the trip by this [mm]; nearer it may lie on its stop.
LOADED_MM = 10.0
#: Shares of the range of heights from which on wraps may lie over each other.
FROM_SHARES = (0.0, 0.15, 0.3, 0.45, 0.6)


class Driver(Enum):
    """What an edge may go with."""

    STEP = auto()
    DISTANCE = auto()
    LOAD = auto()
    HEIGHT = auto()
    NONE = auto()


#: Numbers that each account fits to the edges: level, size, and a setting or two; a scatter has two.
PRICES = {Driver.STEP: 3, Driver.DISTANCE: 3, Driver.LOAD: 3, Driver.HEIGHT: 4, Driver.NONE: 2}


def lead(track: Track, visits: Sequence[Visit], driver: Driver) -> float:
    """Log odds by which a driver explains the edges better than the best other one; 0 where nothing can.

    Parameters
    ----------
    track : Track
    visits : sequence of Visit
        Those whose edge was read and is not false, in order.
    driver : Driver
    """
    costs = _costs(track, visits)
    if not costs:
        return 0.0
    other = min(cost for each, cost in costs.items() if each is not driver)
    return (other - costs[driver]) / 2


def _costs(track: Track, visits: Sequence[Visit]) -> Mapping[Driver, float]:
    """Misfit and price of each account; empty where the edges fit one level or are too few."""
    if len(visits) < FEWEST:
        return {}
    edges = np.array([each.read_edge for each in visits])
    variance = np.array([each.read_width**2 / 12 + OWN_MM**2 for each in visits])
    price = float(np.log(len(edges)))
    level = _misfit(np.ones((len(edges), 1)), edges, variance) + price
    costs = {
        driver: min(_line(values, edges, variance, driver) for values in drivers) + PRICES[driver] * price
        for driver, drivers in _drivers(track, visits).items()
    }
    costs[Driver.NONE] = _own_scatter(edges, variance) + PRICES[Driver.NONE] * price
    return costs if min(costs.values()) < level else {}


def _own_scatter(edges: Floats, variance: Floats) -> float:
    """Misfit of edges that come and go for no reason among these, with a scatter of their own.

    The determinant of the wider variance is what the scatter costs beside the known one.
    """
    own = max(float(np.var(edges, ddof=1) - np.mean(variance)), 0.0)
    wide = variance + own
    mean = float(np.sum(edges / wide) / np.sum(1 / wide))
    return float(np.sum((edges - mean) ** 2 / wide) + np.sum(np.log(wide / variance)))


def _line(values: Floats, edges: Floats, variance: Floats, driver: Driver) -> float:
    if np.ptp(values) <= 0:
        return _misfit(np.ones((len(edges), 1)), edges, variance)
    return _misfit(
        np.column_stack([np.ones(len(edges)), values]), edges, variance, rising=driver is Driver.LOAD
    )


def _misfit(design: Floats, edges: Floats, variance: Floats, rising: bool = False) -> float:
    """Chi-square of the best line; a string that gives way under load only makes the edge come earlier."""
    root = 1 / np.sqrt(variance)
    solution, *_ = np.linalg.lstsq(design * root[:, None], edges * root, rcond=None)
    if rising and solution[-1] < 0:
        return _misfit(design[:, :1], edges, variance)
    return float(np.sum(((edges - design @ solution) * root) ** 2))


def _drivers(track: Track, visits: Sequence[Visit]) -> Mapping[Driver, Sequence[Floats]]:
    """Values of each driver at the edges (n,), one array for every setting that is tried."""
    return {
        Driver.STEP: list(_steps(len(visits))),
        Driver.DISTANCE: list(_distances(track, visits)),
        Driver.LOAD: [_creep(track, visits, time_s) for time_s in CREEP_S],
        Driver.HEIGHT: list(_heights(track, visits)),
    }


def _steps(count: int) -> Iterator[Floats]:
    for at in range(1, count):
        yield (np.arange(count) >= at).astype(np.float64)


def _distances(track: Track, visits: Sequence[Visit]) -> Iterator[Floats]:
    """Way travelled since each visit from which the counts may have begun to be lost [mm]."""
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(track.height)))])
    here = np.array([way[each.at] for each in visits])
    for since in range(len(visits) - 2):
        yield np.maximum(here - here[since], 0.0)


def _creep(track: Track, visits: Sequence[Visit], time_s: float) -> Floats:
    """Share of its full creep that a string has after all loading and rest before each edge."""
    trip = float(np.median([each.read_edge for each in visits]))
    loaded = (track.height > trip + LOADED_MM).astype(np.float64)
    keep = np.exp(-track.step_s / time_s)
    state, states = 0.0, np.zeros(len(track))
    for i, (k, load) in enumerate(zip(keep.tolist(), loaded.tolist(), strict=True)):
        state = load + (state - load) * k
        states[i] = state
    return states[[each.at for each in visits]]


def _heights(track: Track, visits: Sequence[Visit]) -> Iterator[Floats]:
    """Height reached before each edge over the height from which wraps may overlap [mm].

    Wraps may lie well for the first visits, and over each other only since one of them.
    """
    starts = [0, *(each.at for each in visits[:-1])]
    pairs = zip(starts, visits, strict=True)
    peaks = np.array([float(np.max(track.height[start : each.at + 1])) for start, each in pairs])
    low = float(np.median([each.read_edge for each in visits]))
    top = float(np.max(peaks))
    number = np.arange(len(peaks))
    for share in FROM_SHARES:
        reached = np.maximum(peaks - low - share * (top - low), 0.0)
        for since in range(max(1, len(peaks) - FEWEST + 1)):
            yield np.where(number >= since, reached, 0.0)


def true_edges(track: Track, visits: Sequence[Visit]) -> list[Visit]:
    """Visits whose edge was read and lasted: a reading that lapses while the lift stands was false."""
    return [each for each in visits if each.edge_read and each.seen is not None and _lasted(track, each.seen)]


def _lasted(track: Track, seen: int) -> bool:
    if track.made is None:
        return False
    lapse = np.flatnonzero(~track.made[seen : seen + 4])
    return len(lapse) == 0 or bool(track.speed[seen + int(lapse[0])] < -track.still)
