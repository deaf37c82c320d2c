"""Inverse dynamics: mass and friction of a drive whose command is a force or a voltage.

The force is linear in what is looked for, so one linear least-squares problem gives it::

    F = M a + Fv v + Fc sign(v) + F0

for a drive that is told a force F [N], or a voltage times its force per volt. Position is smoothed
without lag, speed and acceleration are its central differences, and the equations are thinned out by a
filter, since neighbouring samples of a smoothed signal say the same thing.

References
----------
.. [1] A. Janot, M. Gautier, M. Brunot, "Data Set and Reference Models of EMPS", Workshop on Nonlinear
   System Identification Benchmarks, 2019.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: What the columns of the equations multiply, in order.
PARAMETERS = ("mass_kg", "viscous_n_s_per_m", "friction_n", "offset_n")
#: The same with friction by direction: outwards (+) and inwards (-).
ASYMMETRIC = ("mass_kg", "viscous_out", "friction_out", "viscous_in", "friction_in")
#: Smoothing of the position: order and cut-off of a Butterworth low-pass, run both ways [1].
FILTER_ORDER, CUTOFF_HZ = 4, 100.0
#: One equation is kept of this many [1].
THINNING = 10
#: Rows left out at the start, where the smoothing has not settled: the computed values that go with [1]
#: leave out as many.
UNSETTLED_ROWS = 49


@dataclass(frozen=True)
class ForceFit:
    """Result of an inverse-dynamics fit.

    Parameters
    ----------
    names : tuple of str
    values, std_errors : (p,) arrays [kg, N s/m, N, N]
    condition : float
        Condition number of the thinned equations.
    r_diagonal : (p,) array
        Size of the diagonal of R before thinning (QR): how much each column adds to those before it.
    error_n : float
        Norm of what is left over [N].
    error_share : float
        The same over the norm of the force [-].
    scatter_n : float
        Standard deviation of what is left over [N].
    rows : int
        Equations used.
    """

    names: tuple[str, ...]
    values: Floats
    std_errors: Floats
    condition: float
    r_diagonal: Floats
    error_n: float
    error_share: float
    scatter_n: float
    rows: int


def motion_of(position_m: Floats, period_s: float, cutoff_hz: float = CUTOFF_HZ) -> tuple[Floats, Floats]:
    """Speed [m/s] and acceleration [m/s2], each (n,), of an evenly sampled position (n,) [m]."""
    from scipy.signal import butter, filtfilt

    b, a = butter(FILTER_ORDER, 2.0 * cutoff_hz * period_s)
    smooth = filtfilt(b, a, position_m)
    speed = np.gradient(smooth, period_s)
    return speed, np.gradient(speed, period_s)


def equations(speed: Floats, acceleration: Floats, *, by_direction: bool = False) -> Floats:
    """Columns that multiply `PARAMETERS`, or `ASYMMETRIC`: (n, 4) or (n, 5)."""
    if not by_direction:
        return np.column_stack([acceleration, speed, np.sign(speed), np.ones_like(speed)])
    out, back = speed > 0, speed < 0
    return np.column_stack([acceleration, speed * out, 1.0 * out, speed * back, -1.0 * back])


def fit_force(
    position_m: Floats,
    force_n: Floats,
    period_s: float,
    *,
    cutoff_hz: float = CUTOFF_HZ,
    thinning: int = THINNING,
    unsettled: int = UNSETTLED_ROWS,
    by_direction: bool = False,
) -> ForceFit:
    """Mass, viscous and Coulomb friction and offset from a logged position and force.

    Parameters
    ----------
    position_m : (n,) array [m]
        Evenly sampled.
    force_n : (n,) array [N]
        Force of the drive, or voltage times force per volt.
    period_s : float
        Sampling period [s].
    cutoff_hz : float
        Cut-off of the smoothing [Hz]; well below half the sampling rate.
    thinning : int
        One equation is kept of this many; 1 keeps all.
    unsettled : int
        Rows left out at the start.
    by_direction : bool
        Friction of its own for each direction, and then no offset.

    Returns
    -------
    ForceFit
        Standard errors take the equations left by the thinning as independent.

    Raises
    ------
    ValueError
        When too few rows are left to fit anything.
    """
    speed, acceleration = motion_of(position_m, period_s, cutoff_hz)
    columns = equations(speed, acceleration, by_direction=by_direction)[unsettled:]
    left = np.asarray(force_n, dtype=np.float64)[unsettled:]
    names = ASYMMETRIC if by_direction else PARAMETERS
    if len(left) < 10 * thinning * len(names):
        raise ValueError(f"{len(left)} rows are too few for {len(names)} numbers at one row in {thinning}")
    r_diagonal = np.abs(np.diag(np.linalg.qr(columns, mode="r")))
    return _solve(names, _thinned(columns, thinning), _thinned(left, thinning), r_diagonal)


def _thinned(values: Floats, thinning: int) -> Floats:
    """Every so many-th row after a low-pass without lag."""
    if thinning == 1:
        return values
    from scipy.signal import decimate

    thin: Floats = decimate(values, thinning, axis=0)
    return thin


def _solve(names: tuple[str, ...], columns: Floats, force: Floats, r_diagonal: Floats) -> ForceFit:
    values, _, rank, sizes = np.linalg.lstsq(columns, force, rcond=None)
    if rank < len(names):
        raise ValueError("the motion does not tell the numbers apart: it needs both directions and speeds")
    left = force - columns @ values
    freedom = len(force) - len(names)
    variance = float(left @ left) / freedom
    covariance = variance * np.linalg.inv(columns.T @ columns)
    error = float(np.linalg.norm(left))
    return ForceFit(
        names=names,
        values=np.asarray(values, dtype=np.float64),
        std_errors=np.sqrt(np.diag(covariance)),
        condition=float(sizes[0] / sizes[-1]),
        r_diagonal=r_diagonal,
        error_n=error,
        error_share=error / float(np.linalg.norm(force)),
        scatter_n=float(np.sqrt(variance)),
        rows=len(force),
    )


def cascade_voltage(
    set_point_m: Floats, position_m: Floats, period_s: float, kp_per_s: float, kv_v_s_per_m: float
) -> Floats:
    """Voltage that a position loop around a speed loop sends: kv (kp (set point - position) - speed).

    Parameters
    ----------
    set_point_m, position_m : (n,) arrays [m]
    period_s : float
        Sampling period [s].
    kp_per_s, kv_v_s_per_m : float
        Gains of the outer and inner loop [1/s], [V s/m].

    Returns
    -------
    (n,) array [V]
        The speed is the backward difference of the mean of the last two positions [1]_; NaN in the first
        two rows.
    """
    speed = np.full_like(position_m, np.nan)
    # the difference of two-sample means is half the difference over two samples
    speed[2:] = (position_m[2:] - position_m[:-2]) / (2.0 * period_s)
    return kv_v_s_per_m * (kp_per_s * (set_point_m - position_m) - speed)
