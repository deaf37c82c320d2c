"""How likely a trip height is, given readings in rows that are a loop apart.

A reading changed between two rows, and it was somewhat old by then: that leaves a height anywhere in one
interval, with a tail above it. Other visits to the same sensor and the way out leave intervals of their own.
The likelihoods are multiplied; each but the first may be wrong altogether, so that one visit in which the
edge moved cannot outvote another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Heights at which a likelihood is held.
POINTS = 801
#: Share of visits in which the edge is somewhere else, within `ELSEWHERE_MM`: own choice, about one in ten.
ELSEWHERE, ELSEWHERE_MM = 0.1, 200.0
#: Parts into which the period of a sensor that holds its output is cut.
HOLDS = 8
#: Widths, ages and spreads below this are none [mm]: far below a count.
LEAST_MM = 1e-3
#: Share of the probability between the bounds that are given.
SURE = 0.95


@dataclass(frozen=True, slots=True)
class Sight:
    """One piece of evidence on the trip height of a visit [mm].

    It lies between ``low`` and ``high``, or above by the way travelled while the reading grew old: ``age``
    is the mean of what is exponential in it, ``hold`` the way in one period of a sensor that holds its output
    in between; ``spread`` is the standard deviation with which this evidence holds for the visit.
    """

    low: float
    high: float
    age: float = 0.0
    hold: float = 0.0
    spread: float = 0.0

    @property
    def middle(self) -> float:
        """Middle of the interval, whatever the age."""
        return (self.low + self.high) / 2

    @property
    def width(self) -> float:
        """Width of the interval."""
        return self.high - self.low

    @property
    def reach(self) -> float:
        """How far above the interval the trip may well lie."""
        return 3 * self.age + self.hold

    def shifted(self, way: float, spread: float) -> Sight:
        """The same seen from elsewhere: ``way`` higher, and with more spread."""
        both = float(np.hypot(self.spread, spread))
        return replace(self, low=self.low + way, high=self.high + way, spread=both)


def placed(first: Sight, others: list[Sight]) -> tuple[float, float, float]:
    """Mean of the trip height and the bounds that hold it with probability `SURE` [mm]."""
    margin = 4 * first.spread + 0.01 * first.width + 0.01
    heights = np.linspace(first.low - margin, first.high + 2 * first.reach + margin, POINTS)
    density = _likelihood(first, heights)
    for each in others:
        density = density * ((1 - ELSEWHERE) * _likelihood(each, heights) + ELSEWHERE / ELSEWHERE_MM)
    return _summed(heights, density)


def _likelihood(sight: Sight, heights: Floats) -> Floats:
    """Density of a trip at each height: an even interval, an age and a normal spread."""
    if sight.hold <= LEAST_MM:
        return _without_hold(sight, heights)
    shares = (np.arange(HOLDS) + 0.5) / HOLDS
    held: Floats = np.mean([_without_hold(sight, heights - sight.hold * share) for share in shares], axis=0)
    return held


def _without_hold(sight: Sight, heights: Floats) -> Floats:
    width = max(sight.width, LEAST_MM)
    below, above = heights - sight.low, heights - sight.low - width
    density: Floats = (_up_to(below, sight) - _up_to(above, sight)) / width
    return np.maximum(density, 0.0)


def _up_to(way: Floats, sight: Sight) -> Floats:
    """Distribution function of the sum of an exponential and a normal variable (either may be 0)."""
    from scipy.special import log_ndtr, ndtr

    age, spread = sight.age, max(sight.spread, LEAST_MM)
    normal: Floats = ndtr(way / spread)
    if age <= LEAST_MM:
        return normal
    ratio = spread / age
    tail: Floats = np.exp(np.minimum(ratio**2 / 2 - way / age + log_ndtr(way / spread - ratio), 0.0))
    return normal - tail


def _summed(heights: Floats, density: Floats) -> tuple[float, float, float]:
    total = float(density.sum())
    mean = float(np.sum(heights * density) / total)
    share = np.cumsum(density) / total
    low = float(np.interp((1 - SURE) / 2, share, heights))
    high = float(np.interp((1 + SURE) / 2, share, heights))
    return mean, min(low, mean), max(high, mean)
