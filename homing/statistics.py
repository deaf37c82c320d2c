"""What a finite number of runs says about a failure rate, and about a spread.

Failure rates are bounded with the exact binomial limits of Clopper and Pearson [1]_: with independent
runs they hold at least at the stated confidence, also when nothing failed at all. Approximations (Wald,
Wilson) do not promise that where it matters here, near zero.

``scipy.special`` is imported only when a beta quantile is really needed: it costs more time than many a
verification, and no failures in n runs has a closed form.

References
----------
.. [1] C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of
   the binomial", Biometrika 26 (1934) 404.
.. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: tolerance intervals for a normal
   distribution, two-sided by Howe's formula.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def upper_bound(failures: int, runs: int, confidence: float = 0.95) -> float:
    """One-sided exact upper bound of the failure rate: true at least this often as ``confidence`` says.

    Parameters
    ----------
    failures, runs : int
        How many of how many independent runs failed; without runs the bound is 1.
    confidence : float
        Between 0 and 1 [-].

    Returns
    -------
    float
        Rate [-].

    Examples
    --------
    >>> round(upper_bound(0, 299), 6), round(upper_bound(3, 2000), 6)
    (0.009969, 0.003872)
    """
    _check(failures, runs, confidence)
    if failures == runs:
        return 1.0
    if failures == 0:
        return -math.expm1(math.log1p(-confidence) / runs)
    return _beta_quantile(failures + 1, runs - failures, confidence)


def lower_bound(failures: int, runs: int, confidence: float = 0.95) -> float:
    """One-sided exact lower bound of the failure rate; see :func:`upper_bound`."""
    _check(failures, runs, confidence)
    if failures == 0:
        return 0.0
    if failures == runs:
        return math.exp(math.log1p(-confidence) / runs)
    return _beta_quantile(failures, runs - failures + 1, 1.0 - confidence)


def interval(failures: int, runs: int, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided exact interval of the failure rate, half of the remaining risk on each side.

    Examples
    --------
    >>> low, high = interval(4, 20)
    >>> round(low, 6), round(high, 6)
    (0.057334, 0.436614)
    """
    each_side = 0.5 * (1.0 + confidence)
    return lower_bound(failures, runs, each_side), upper_bound(failures, runs, each_side)


def runs_needed(allowed_rate: float, confidence: float = 0.95) -> int:
    """Fewest runs which, if none of them fails, show that the failure rate is at most ``allowed_rate``.

    The smallest n with (1 - rate)^n <= 1 - confidence.

    Examples
    --------
    >>> runs_needed(0.01)
    299
    """
    if not 0.0 < allowed_rate < 1.0:
        raise ValueError(f"allowed_rate must be between 0 and 1; got {allowed_rate!r}")
    _check(0, 0, confidence)
    runs = max(1, round(math.log1p(-confidence) / math.log1p(-allowed_rate)))
    while upper_bound(0, runs, confidence) > allowed_rate:
        runs += 1
    while runs > 1 and upper_bound(0, runs - 1, confidence) <= allowed_rate:
        runs -= 1
    return runs


def quantiles(values: ArrayLike, shares: Sequence[float]) -> tuple[float, ...]:
    """Values which these shares of the runs do not exceed; NaN entries (no such metric) are left out.

    A quantile is always the value of one of the runs, the smallest with at least this share of the runs
    at or below it, never a mixture of two: it can be reproduced, and infinities stay what they are.

    Parameters
    ----------
    values : array_like, (n,)
        One metric of all runs, NaN where it does not exist.
    shares : sequence of float
        0 to 1 [-].

    Returns
    -------
    tuple of float
        One per share, in the unit of ``values``; NaN if no run has the metric.

    Examples
    --------
    >>> quantiles([4.0, float("nan"), 1.0, 3.0, 2.0], (0.5, 1.0))
    (2.0, 4.0)
    """
    present = _present(values)
    if not len(present):
        return tuple(math.nan for _ in shares)
    return tuple(float(value) for value in np.quantile(present, shares, method="inverted_cdf"))


def scatter(values: ArrayLike) -> float:
    """Sample standard deviation (n - 1) of the runs that have the metric; NaN for fewer than two."""
    present = _present(values)
    return float(np.std(present, ddof=1)) if len(present) > 1 else math.nan


def tolerance_factor(count: int, share: float, confidence: float = 0.95, *, two_sided: bool = True) -> float:
    """Factor k with which mean +- k s, from few normal values, holds this share of all further values.

    For the scatter of an edge seen in a handful of visits, where the plain normal quantile promises too
    much. Two-sided by Howe's formula [2]_, within 0.4 % of the exact factor for 95 % at 95 % confidence
    from 5 values on; one-sided exact, by the noncentral t distribution.

    Parameters
    ----------
    count : int
        Number of values, 2 or more.
    share, confidence : float
        Share of further values held, and how sure that is; between 0 and 1 [-].
    two_sided : bool
        Mean +- k s if true; else mean + k s (or mean - k s) alone.

    Returns
    -------
    float
        k [-].

    Examples
    --------
    >>> round(tolerance_factor(43, 0.90, 0.99), 4)
    2.2173
    """
    from scipy.special import chdtri, nctdtrit, ndtri

    _check(0, 0, confidence)
    if count < 2 or not 0.0 < share < 1.0:
        raise ValueError(f"count must be 2 or more and share between 0 and 1; got {count!r} and {share!r}")
    free = count - 1
    if two_sided:
        z = ndtri(0.5 * (1.0 + share))
        return float(z * math.sqrt(free * (1.0 + 1.0 / count) / chdtri(free, confidence)))
    root = math.sqrt(count)
    return float(nctdtrit(free, ndtri(share) * root, confidence) / root)


def _present(values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    return array[~np.isnan(array)]


def _beta_quantile(a: float, b: float, share: float) -> float:
    from scipy.special import betaincinv

    return float(betaincinv(a, b, share))


def _check(failures: int, runs: int, confidence: float) -> None:
    if not 0 <= failures <= runs:
        raise ValueError(f"failures must be 0 to {runs}; got {failures!r}")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must be between 0 and 1; got {confidence!r}")
