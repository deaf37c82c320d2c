"""Will it be seen: the probability that one pass through the window brings at least one made reading.

A window of width w, passed at speed v, lasts w/v. The controller reads at instants that have nothing to do
with the window, so the window begins anywhere within a loop, evenly. A made output that lasts m is missed
only if it lies wholly between two readings; with loop lengths L

    P(m) = E[min(L, m)] / E[L]                    (constant L: min(1, m / L), the window / (v T) of the trade)

since a moment falls into a loop in proportion to its length. A sensor that samples every S and holds its
output in between turns to made only at a sample, anywhere within S, evenly. The first one has to find the
signal over the operate threshold, which it is for a time o after the trip; later ones keep it made until the
signal has fallen to release, at the time w/v. With k = floor(w / (v S)) and the remainder r of that, its made
output lasts k + 1 sample periods if the first sample comes before r, else k:

    P = [min(m, r) P((k + 1) S) + (m - min(m, r)) P(k S)] / S,   m = min(S, o)

Where the window reaches down to the hard stop, the lift comes to rest in it: seen for certain. The speed is
taken as constant, as nothing brakes before the sensor is seen; contact bounce is left out, since a pressed
contact stays pressed down to the stop.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

MS = 1e-3
#: Cells a side in which the three uniforms of the loop's jitter are counted: 24^3 equally likely lengths.
JITTER_CELLS = 24


@dataclass(frozen=True)
class Loops:
    """Lengths of the control loop [s], rising, and how often each comes (weights that add up to 1)."""

    length_s: Floats
    weight: Floats

    @property
    def mean_s(self) -> float:
        """Mean length of a loop [s]."""
        return float(self.length_s @ self.weight)

    def caught(self, made_s: Floats | float) -> Floats:
        """Probability that a made output that lasts ``made_s`` (any shape) meets a reading: P(m) above."""
        made = np.asarray(made_s, dtype=np.float64)
        shorter = np.concatenate([[0.0], np.cumsum(self.length_s * self.weight)])
        longer = 1.0 - np.concatenate([[0.0], np.cumsum(self.weight)])
        place = np.searchsorted(self.length_s, made, side="right")
        finite = np.where(np.isfinite(made), made, 0.0)
        share = (shorter[place] + finite * np.maximum(longer[place], 0.0)) / self.mean_s
        return np.where(np.isfinite(made), np.clip(share, 0.0, 1.0), 1.0)

    def longest_s(self, share: float) -> float:
        """Length which the loop that a moment falls into does not exceed in this share of cases [s]."""
        by_time = np.cumsum(self.length_s * self.weight) / self.mean_s
        return float(self.length_s[min(int(np.searchsorted(by_time, share)), len(by_time) - 1)])


def loops_of(lift: Lift, periods_s: Floats | None = None) -> Loops:
    """Return the loop lengths of a lift: measured ones where they are at hand, else those of its file.

    Parameters
    ----------
    lift : Lift
        Period, jitter (sum of three uniforms, cut at half a period) and rare late loops.
    periods_s : ndarray, shape (k,), optional
        Measured loop periods [s].
    """
    if periods_s is not None and len(periods_s):
        return Loops(np.sort(periods_s), np.full(len(periods_s), 1.0 / len(periods_s)))
    c = lift.controller
    cell = (np.arange(JITTER_CELLS) + 0.5) / JITTER_CELLS
    bell = 2.0 * (cell[:, None, None] + cell[None, :, None] + cell[None, None, :]) - 3.0
    shift_ms = np.clip(c.jitter_ms * np.unique(bell.round(9)), -0.5 * c.period_ms, 0.5 * c.period_ms)
    counts = np.unique(bell.round(9), return_counts=True)[1]
    lengths = np.append(c.period_ms + shift_ms, max(c.late_loop_ms, c.period_ms)) * MS
    usual = (1.0 - c.late_loop_probability) * counts / counts.sum()
    weights = np.append(usual, c.late_loop_probability)
    order = np.argsort(lengths, kind="stable")
    return Loops(lengths[order], weights[order])


def seen_in_one_pass(
    dwell_s: Floats, sample_s: Floats | float, loops: Loops, strong_s: Floats | None = None
) -> Floats:
    """Probability that one pass brings a made reading, shape (n,).

    Parameters
    ----------
    dwell_s : ndarray, shape (n,)
        How long the target is inside the window [s]; infinite where it stays, 0 where there is no window.
    sample_s : float or ndarray, shape (n,)
        Sample period of the sensor [s]; 0: its output follows at once.
    loops : Loops
    strong_s : ndarray, shape (n,), optional
        How long of that the signal is over the operate threshold [s]; all the time by default.

    Examples
    --------
    A window that lasts half a loop of 20 ms, and one that lasts a quarter of the sensor's sample period:

    >>> loops = Loops(np.array([0.020]), np.array([1.0]))
    >>> seen_in_one_pass(np.array([0.010]), 0.0, loops)
    array([0.5])
    >>> seen_in_one_pass(np.array([0.010]), 0.040, loops)
    array([0.25])
    """
    dwell, sample = np.broadcast_arrays(np.asarray(dwell_s, dtype=np.float64), np.ravel(sample_s))
    strong = dwell if strong_s is None else np.minimum(strong_s, dwell)
    period = np.where(sample > 0.0, sample, 1.0)
    whole = np.floor(np.where(np.isfinite(dwell), dwell, 0.0) / period)
    first = np.minimum(period, strong)
    early = np.where(np.isfinite(dwell), np.minimum(first, dwell - whole * period), first)
    longer = np.where(np.isfinite(dwell), (whole + 1.0) * period, np.inf)
    sampled = (early * loops.caught(longer) + (first - early) * loops.caught(whole * period)) / period
    return np.where(sample > 0.0, sampled, loops.caught(dwell))


def dwell_s(trip_m: Floats, window_low_m: Floats, speed_m_s: float) -> Floats:
    """How long the target is inside the window [s], (n,): infinite where it reaches the hard stop."""
    width = trip_m - window_low_m
    lasting = np.where(window_low_m <= 0.0, np.inf, width / speed_m_s)
    return np.where(np.isnan(trip_m), 0.0, lasting)
