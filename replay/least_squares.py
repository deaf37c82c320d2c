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
#: Step of central differences: the cube root of the rounding error balances it against the curvature.
FINITE_STEP = 6e-6


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
    start = np.asarray(start, dtype=np.float64)
    low = np.full_like(start, -np.inf) if low is None else low
    high = np.full_like(start, np.inf) if high is None else high
    # in units of the values' own size: finite differences and steps need values near 1
    unit = np.where(start != 0.0, np.abs(start), 1.0) if size is None else size

    def scaled(z: Floats) -> Floats:
        return residuals(z * unit)

    def slopes(z: Floats) -> Floats:
        return differences(scaled, z) if jacobian is None else np.asarray(jacobian(z * unit)) * unit

    from scipy.optimize import least_squares

    found = least_squares(
        scaled, start / unit, jac=slopes, bounds=(low / unit, high / unit),
        loss="linear" if robust_from is None else soft_l1(robust_from), ftol=tolerance, xtol=tolerance,
        gtol=tolerance,
    )  # fmt: skip
    left = np.asarray(found.fun, dtype=np.float64)
    variance = 1.0 if unit_scatter else float(left @ left) / max(len(left) - len(start), 1)
    return Solution(
        values=found.x * unit,
        covariance=variance * _inverse(found.jac) * np.outer(unit, unit),
        residuals=left,
        at_bound=_at_bound(found.x * unit, low, high),
    )


def _at_bound(values: Floats, low: Floats, high: Floats) -> NDArray[np.bool_]:
    bounded = np.isfinite(low) & np.isfinite(high)
    span = np.where(bounded, high - low, 1.0)
    near = np.minimum(values - low, high - values) <= AT_BOUND * span
    return np.asarray(near & bounded, dtype=np.bool_)


def differences(residuals: Residuals, at: Floats) -> Floats:
    """Central differences (n, p) of residuals at values of about 1."""
    step = FINITE_STEP * np.maximum(1.0, np.abs(at))
    shifts = np.diag(step)
    columns = [
        (residuals(at + shift) - residuals(at - shift)) / (2.0 * h)
        for shift, h in zip(shifts, step, strict=True)
    ]
    return np.column_stack(columns)


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
