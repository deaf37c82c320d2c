"""Data-sheet curves over distance: through given points, or scaled to a peak.

``Curve`` passes through its points with a monotone cubic between them (slopes as the weighted
harmonic mean of the neighbouring chords [1]_), so that it neither overshoots nor has corners. Outside
the points stand two stated assumptions: nearer than the first point the value falls in proportion to
the distance, as emitter and receiver no longer look at the same spot; farther than the last point it
falls with a given power of the distance.

``PeakCurve`` knows only where the peak lies and has the general shape

    (a + b) u^a / (b + a u^(a + b)),   u = distance / peak distance

with a and b fitted to two data-sheet curves; see ``NEAR_POWER`` for how well it follows them.

References
----------
.. [1] F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300; from memory, checked
   against ``scipy.interpolate.PchipInterpolator``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from sensor_models.checks import check_number
from sensor_models.errors import InputError
from sensor_models.kinds import Floats, Value

#: Powers of the distance before and after the peak: least squares over the digitised curves of TCRT5000
#: (Vishay 83760 issue 1.7, 2009, Fig. 9) and QRE1113 (Fairchild issue 2.7, 2016, Fig. 1). It follows
#: them to 0.12 of the peak beyond the peak's distance and to 0.25 nearer than it.
NEAR_POWER, FAR_POWER = 0.60, 1.64


class DistanceCurve(Protocol):
    """Anything that gives a value at a distance [m]."""

    def __call__(self, distance_m: Value) -> Floats: ...


class Curve:
    """Smooth curve through points, for distances from 0 on.

    Parameters
    ----------
    points : sequence of (distance [m], value)
        At least two, distances rising from 0 or more, values not negative.
    far_power : float
        Beyond the last point the value falls as distance ** -far_power.
    key : str
        Name for messages.
    """

    def __init__(self, points: Sequence[Sequence[float]], *, far_power: float, key: str = "curve") -> None:
        _check_points(points, key)
        table = np.array(points, dtype=np.float64)
        if table[0, 0] > 0.0:
            table = np.vstack([[0.0, 0.0], table])
        self.distance_m: Floats = table[:, 0]
        self.value: Floats = table[:, 1]
        self.far_power = far_power
        measured = slice(len(table) - len(points), None)
        slope = np.full(len(table), table[1, 1] / table[1, 0] if len(table) > len(points) else 0.0)
        slope[measured] = _slopes(table[measured, 0], table[measured, 1])
        self._left_slope = slope[:-1].copy()
        self._right_slope = slope[1:].copy()
        if len(table) > len(points):
            self._right_slope[0] = slope[0]

    def __call__(self, distance_m: Value) -> Floats:
        """Return the value at distances of any shape [m]; below 0 as at 0 (the target touches)."""
        distance = np.maximum(np.asarray(distance_m, dtype=np.float64), 0.0)
        last = len(self.distance_m) - 2
        i = np.clip(np.searchsorted(self.distance_m, distance, side="right") - 1, 0, last)
        span = self.distance_m[i + 1] - self.distance_m[i]
        t = np.minimum((distance - self.distance_m[i]) / span, 1.0)
        value = _hermite(
            t, self.value[i], self.value[i + 1], span * self._left_slope[i], span * self._right_slope[i]
        )
        far = self.distance_m[-1]
        faded: Floats = value * (far / np.maximum(distance, far)) ** self.far_power
        return faded


@dataclass(frozen=True, eq=False)
class PeakCurve:
    """General curve of a reflective sensor that is strongest at ``peak_gap_m`` [m]; peak value 1."""

    peak_gap_m: Value

    def __post_init__(self) -> None:
        check_number("peak_gap_m", self.peak_gap_m, above=0.0)

    def __call__(self, distance_m: Value) -> Floats:
        """Return the share of the peak at distances of any shape [m]; below 0 as at 0."""
        u = np.maximum(np.asarray(distance_m, dtype=np.float64), 0.0) / self.peak_gap_m
        both = NEAR_POWER + FAR_POWER
        share: Floats = both * u**NEAR_POWER / (FAR_POWER + NEAR_POWER * u**both)
        return share


def _hermite(t: Any, y0: Any, y1: Any, m0: Any, m1: Any) -> Any:
    """Cubic over 0..1 with end values y0, y1 and end slopes m0, m1."""
    rise = y1 - y0
    return y0 + t * (m0 + t * ((3.0 * rise - 2.0 * m0 - m1) + t * (m0 + m1 - 2.0 * rise)))


def _slopes(x: Floats, y: Floats) -> Floats:
    """Slopes of the monotone cubic at its points."""
    width, chord = np.diff(x), np.diff(y) / np.diff(x)
    if len(chord) == 1:
        return np.repeat(chord, 2)
    slopes = np.zeros(len(x))
    w1, w2 = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same = chord[:-1] * chord[1:] > 0.0
    safe_low, safe_high = np.where(same, chord[:-1], 1.0), np.where(same, chord[1:], 1.0)
    slopes[1:-1] = np.where(same, (w1 + w2) / (w1 / safe_low + w2 / safe_high), 0.0)
    slopes[0] = _end_slope(width[0], width[1], chord[0], chord[1])
    slopes[-1] = _end_slope(width[-1], width[-2], chord[-1], chord[-2])
    return slopes


def _end_slope(width: float, next_width: float, chord: float, next_chord: float) -> float:
    """Three-point slope at an end, limited so that the curve stays monotone."""
    slope = ((2.0 * width + next_width) * chord - width * next_chord) / (width + next_width)
    if slope * chord <= 0.0:
        return 0.0
    if chord * next_chord <= 0.0 and abs(slope) > 3.0 * abs(chord):
        return 3.0 * chord
    return slope


def _check_points(points: Any, key: str) -> None:
    if not isinstance(points, (list, tuple, np.ndarray)) or len(points) < 2:
        raise InputError("must hold at least two [distance, value] pairs", key=key, got=points)
    before = -1.0
    for row, point in enumerate(points, 1):
        if not isinstance(point, (list, tuple, np.ndarray)) or len(point) != 2:
            raise InputError("must be a [distance, value] pair", key=key, row=row, got=point)
        for number in point:
            check_number(key, number, at_least=0.0)
        if not point[0] > before:
            raise InputError("must have rising distances", key=key, row=row, got=float(point[0]))
        before = float(point[0])
