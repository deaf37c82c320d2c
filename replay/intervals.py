"""Intervals of means, spreads and shares of a handful of visits.

Means have Student's interval and standard deviations the chi-squared interval, which hold for visits that
are independent and roughly normal [1]_; shares of visits have the exact interval of Clopper and Pearson.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2 (confidence limits for the mean) and
   1.3.5.8 (the chi-squared distribution of a sample variance); from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.statistics import interval

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
#: Fewer visits than this have no spread.
FEWEST = 2


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval, from ``visits`` visits; NaN where there are too few."""

    value: float
    low: float
    high: float
    visits: int


def mean_interval(values: Floats) -> Estimate:
    """Mean of normal values with Student's interval.

    Examples
    --------
    >>> found = mean_interval(np.array([1.0, 2.0, 3.0, 4.0]))
    >>> round(found.low, 4), round(found.high, 4)
    (0.4457, 4.5543)
    """
    count = len(values)
    if count < FEWEST:
        return Estimate(float(values[0]) if count else math.nan, math.nan, math.nan, count)
    from scipy.special import stdtrit

    half = float(stdtrit(count - 1, 0.5 + CONFIDENCE / 2) * np.std(values, ddof=1) / math.sqrt(count))
    mean = float(np.mean(values))
    return Estimate(mean, mean - half, mean + half, count)


def spread_interval(values: Floats) -> Estimate:
    """Standard deviation of normal values with the chi-squared interval."""
    count = len(values)
    if count < FEWEST:
        return Estimate(math.nan, math.nan, math.nan, count)
    from scipy.special import chdtri

    free, spread = count - 1, float(np.std(values, ddof=1))
    # chdtri takes the upper tail
    low, high = (spread * math.sqrt(free / float(chdtri(free, tail))) for tail in (0.025, 0.975))
    return Estimate(spread, low, high, count)


def share_interval(flags: Sequence[bool]) -> Estimate:
    """Share of visits with its exact interval."""
    if not flags:
        return Estimate(math.nan, math.nan, math.nan, 0)
    return Estimate(sum(flags) / len(flags), *interval(sum(flags), len(flags), CONFIDENCE), len(flags))
