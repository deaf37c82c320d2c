"""How hard a stop must damp so that a lift bounces with exactly the restitution asked for.

Law used by the kernel, for a penetration d of the stop::

    F = k d (1 + (D / v0) d')        [N], only ever pushing

k [N/m] stiffness, v0 [m/s] speed at first touch (latched there), D [-] the damping number found here.

Derivation. For an isolated carriage of mass m, with u = d'/v0 as function of d::

    m v0^2 u du / (1 + D u) = -k d dd

The way in runs from u = 1, the way out ends at u = -e, both at d = 0, so the left side integrates to
zero between them. With h(x) = x - ln(1 + x) that is ``h(D) = h(-D e)``, or written out::

    D (1 + e) = ln[(1 + D) / (1 - D e)]

Neither m, k nor v0 appear, and the same relation holds for k d^n with any n: it is exact, where the
customary approximations of the literature miss the restitution by up to a factor of ten. Since
D e < 1, the force never pulls while the carriage leaves on its own.

References
----------
.. [1] K. H. Hunt, F. R. E. Crossley, "Coefficient of restitution interpreted as damping in
   vibroimpact", J. Appl. Mech. 42 (1975): the force law. The relation is derived above.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: Smallest restitution accepted; below it D e is 1 to double precision and the stop a pure damper.
LOWEST_RESTITUTION = 0.05

# Each of Newton's steps about doubles the digits; five suffice over the whole range, three are to spare.
_NEWTON_STEPS = 8
# Halvings of a bracket no wider than 1 until neighbouring doubles are reached.
_HALVINGS = 60
# Below this the direct form of h(x)/x^2 loses more digits than its series leaves out.
_SMALL = 0.02
_SERIES = tuple((-1.0) ** n / n for n in range(2, 12))


def damping_number(restitution: ArrayLike) -> Floats:
    """Damping number D with which the contact law gives this restitution.

    Parameters
    ----------
    restitution : array_like, any shape
        Speed after over speed before the touch, 0.05 to 1 [-].

    Returns
    -------
    ndarray, same shape
        D [-]: 0 for restitution 1, about 1/e for small ones.

    Raises
    ------
    ValueError
        If a restitution is outside 0.05 to 1, or not a number.

    Notes
    -----
    Newton's method on g(D) = h(D) - h(-D e), which is concave and falling right of its maximum, so that
    every step from the right stays right of the root and comes closer. It starts at the smaller of two
    bounds: 1.5 (1 - e)/e (checked on a dense grid in the tests), and D = (1 - exp(-y))/e with
    y = (1 + e)/e - ln(1 + 1/e), from the relation with 1/e put for D on its right-hand side.

    Examples
    --------
    >>> float(damping_number(0.5).round(6))
    1.432751
    """
    e = np.asarray(restitution, dtype=np.float64)
    if not np.all((e >= LOWEST_RESTITUTION) & (e <= 1.0)):
        raise ValueError(f"restitution must be {LOWEST_RESTITUTION} to 1; got {restitution!r}")
    far = (1.0 + e) / e - np.log1p(1.0 / e)
    d = np.minimum(1.5 * (1.0 - e) / e, -np.expm1(-far) / e)
    for _ in range(_NEWTON_STEPS):
        slope = d / (1.0 + d) - e**2 * d / (1.0 - d * e)
        excess = d**2 * _loss(d, e)
        d = d - np.divide(excess, slope, out=np.zeros_like(d), where=slope < 0.0)
    return np.asarray(d)


def delivered_restitution(damping: ArrayLike) -> Floats:
    """Restitution that a damping number gives: the inverse of :func:`damping_number`.

    Parameters
    ----------
    damping : array_like, any shape
        Damping number D, 0 or more [-].

    Returns
    -------
    ndarray, same shape
        Restitution e [-].

    Raises
    ------
    ValueError
        If a damping number is negative or not a finite number.

    Examples
    --------
    A law which asks for D = 1.5 (1 - e) misses by far at low restitution: for e = 0.3 it gives

    >>> float(delivered_restitution(1.5 * (1 - 0.3)).round(4))
    0.5813
    """
    d = np.asarray(damping, dtype=np.float64)
    if not np.all((d >= 0.0) & np.isfinite(d)):
        raise ValueError(f"damping must be 0 or more and finite; got {damping!r}")
    low = np.zeros_like(d)
    high = np.minimum(1.0, 1.0 / np.maximum(d, 1.0))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        too_low = _loss(d, middle) > 0.0
        low = np.where(too_low, middle, low)
        high = np.where(too_low, high, middle)
    return np.asarray(0.5 * (low + high))


def _loss(d: Floats, e: Floats) -> Floats:
    """(h(D) - h(-D e)) / D^2: positive where D lets the carriage leave faster than e; 0 at the root."""
    return _scaled(d) - e**2 * _scaled(-d * e)


def _scaled(x: Floats) -> Floats:
    """h(x)/x^2 with h(x) = x - ln(1 + x), by its series near 0; +inf at x = -1."""
    near = np.abs(x) < _SMALL
    safe = np.where(near, 1.0, x)
    with np.errstate(divide="ignore"):
        direct = (safe - np.log1p(np.maximum(safe, -1.0))) / safe**2
    series = np.zeros_like(x)
    for coefficient in reversed(_SERIES):
        series = series * x + coefficient
    return np.where(near, series, direct)
