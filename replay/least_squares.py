"""Nonlinear least squares with standard errors, correlations and what lies at a bound: one door to scipy.

All fits go through `solve`, so that checking it against certified problems checks them all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Residuals = Callable[[Floats], Floats]

#: A value closer to its bound than this share of the way between the bounds lies at it.
AT_BOUND = 1e-6


@dataclass(frozen=True)
class Solution:
    """Where the sum of squares is least.

    Parameters
    ----------
    values : (p,) array
    covariance : (p, p) array
    residuals : (n,) array
    at_bound : (p,) bool array
    """

    values: Floats
    covariance: Floats
    residuals: Floats
    at_bound: NDArray[np.bool_]

    @property
    def std_errors(self) -> Floats:
        """Standard errors (p,)."""
        errors: Floats = np.sqrt(np.diag(self.covariance))
        return errors

    @property
    def correlations(self) -> Floats:
        """Correlations of the estimates (p, p)."""
        size = np.where(self.std_errors > 0.0, self.std_errors, 1.0)
        correlations: Floats = self.covariance / np.outer(size, size)
        return correlations

    @property
    def sum_of_squares(self) -> float:
        """Residual sum of squares."""
        return float(self.residuals @ self.residuals)

    @property
    def scatter(self) -> float:
        """Standard deviation of the residuals, n - p degrees of freedom."""
        return float(np.sqrt(self.sum_of_squares / max(len(self.residuals) - len(self.values), 1)))


def solve(
    residuals: Residuals,
    start: Floats,
    *,
    low: Floats | None = None,
    high: Floats | None = None,
    size: Floats | None = None,
    robust_from: Floats | None = None,
    unit_scatter: bool = False,
    jacobian: Callable[[Floats], Any] | None = None,
    tolerance: float = 1e-12,
) -> Solution:
    """Minimise the sum of squared residuals.

    Parameters
    ----------
    residuals : callable
        (p,) values to (n,) residuals.
    start : (p,) array
    low, high : (p,) arrays, optional
        Bounds.
    size : (p,) array, optional
        By how much each value may be expected to move.
    robust_from : (n,) array, optional
        A residual well beyond this counts in proportion instead of squared (soft L1 loss); infinite
        where it is always squared.
    unit_scatter : bool
        The residuals are already in units of their standard deviation; otherwise it is worked out
        from their sum of squares.
    jacobian : callable, optional
        (p,) values to the (n, p) derivatives; finite differences otherwise.

    Returns
    -------
    Solution
    """
    from scipy.optimize import least_squares

    start = np.asarray(start, dtype=np.float64)
    loss = "linear" if robust_from is None else soft_l1(robust_from)
    low = np.full_like(start, -np.inf) if low is None else low
    high = np.full_like(start, np.inf) if high is None else high
    found = least_squares(
        residuals, start, jac="3-point" if jacobian is None else jacobian, bounds=(low, high),
        x_scale="jac" if size is None else size, loss=loss,
        ftol=tolerance, xtol=tolerance, gtol=tolerance,
    )  # fmt: skip
    left = np.asarray(found.fun, dtype=np.float64)
    freedom = max(len(left) - len(start), 1)
    variance = 1.0 if unit_scatter else float(left @ left) / freedom
    span = np.where(np.isfinite(high - low), high - low, np.inf)
    with np.errstate(invalid="ignore"):
        near = np.minimum(found.x - low, high - found.x) <= AT_BOUND * span
    return Solution(
        values=found.x,
        covariance=variance * _inverse(found.jac),
        residuals=left,
        at_bound=np.asarray(near & np.isfinite(span), dtype=np.bool_),
    )


def soft_l1(scale: Floats) -> Callable[[Floats], Floats]:
    """Soft L1 loss 2 c^2 (sqrt(1 + r^2/c^2) - 1) with a scale c for each residual, as scipy wants it.

    Parameters
    ----------
    scale : (n,) array
        Infinite for residuals that are always squared.

    Returns
    -------
    callable
        (n,) squared residuals to (3, n): loss and its first two derivatives by the squared residual.
    """
    share = 1.0 / np.square(scale)

    def loss(squared: Floats) -> Floats:
        root = np.sqrt(1.0 + share * squared)
        # 2 (root - 1) / share without its 0/0 where the scale is infinite
        return np.stack([2.0 * squared / (root + 1.0), 1.0 / root, -0.5 * share / root**3])

    return loss


def _inverse(jacobian: Floats) -> Floats:
    """(J' J)^-1; columns are brought to one size first, since the units differ by many powers of ten."""
    size = np.linalg.norm(jacobian, axis=0)
    size = np.where(size > 0.0, size, 1.0)
    scaled = jacobian / size
    inverse: Floats = np.linalg.pinv(scaled.T @ scaled) / np.outer(size, size)
    return inverse
