"""Shrinking: as few coordinates as possible away from nominal, and those by as little as possible.

Coordinates are set back one by one, each time the one that leaves the least margin; the others are then moved
towards nominal by bisection. What is kept must still fail, or, when nothing failed, still have nearly the
least margin that was found. Every trial is one simulated run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Halvings of a departure: a tolerance is then known to a thousandth of its width.
HALVINGS = 10
#: Without a failing run: how much of the way from the nominal margin down to the least one may be given up.
GIVEN_UP = 0.1


@dataclass(frozen=True)
class Shrunk:
    """The point after shrinking, its margin, and the runs that it took."""

    point: Floats
    margin: float
    runs: int


def shrink(
    margin: Callable[[Floats], float], worst: Floats, nominal: Floats, discrete: NDArray[np.bool_]
) -> Shrunk:
    """Shrink a point (d,) towards nominal (d,).

    Parameters
    ----------
    margin : callable
        Margin of one point (d,); negative fails.
    discrete : ndarray of bool, shape (d,)
        Coordinates that can only be set back, since what lies between means something else.
    """
    shrinking = _Shrinking(margin, nominal)
    shrinking.begin(worst)
    shrinking.set_back()
    for i in np.flatnonzero((shrinking.point != nominal) & ~discrete):
        shrinking.halve(int(i))
    shrinking.set_back()
    return Shrunk(shrinking.point, shrinking.margin, shrinking.runs)


class _Shrinking:
    def __init__(self, margin: Callable[[Floats], float], nominal: Floats) -> None:
        self._measure, self._nominal = margin, nominal
        self.runs, self.margin, self.point, self._most = 0, np.inf, nominal, 0.0

    def begin(self, worst: Floats) -> None:
        self.point, self.margin = worst.copy(), self._tried(worst)
        if self.margin >= 0.0:
            self._most = self.margin + GIVEN_UP * max(self._tried(self._nominal) - self.margin, 0.0)

    def _tried(self, point: Floats) -> float:
        self.runs += 1
        return self._measure(point)

    def _keeps(self, margin: float) -> bool:
        return margin < 0.0 if self._most == 0.0 else margin <= self._most

    def _moved(self, i: int, value: float) -> Floats:
        point = self.point.copy()
        point[i] = value
        return point

    def set_back(self) -> None:
        """Set coordinates back to nominal, the one that matters least first."""
        while True:
            away = np.flatnonzero(self.point != self._nominal)
            trials = [(self._tried(self._moved(int(i), self._nominal[i])), int(i)) for i in away]
            kept = [trial for trial in trials if self._keeps(trial[0])]
            if not kept:
                return
            self.margin, i = min(kept)
            self.point = self._moved(i, self._nominal[i])

    def halve(self, i: int) -> None:
        """Move one coordinate towards nominal as far as it still fails."""
        inside, outside = float(self._nominal[i]), float(self.point[i])
        for _ in range(HALVINGS):
            middle = 0.5 * (inside + outside)
            margin = self._tried(self._moved(i, middle))
            if self._keeps(margin):
                outside, self.margin = middle, margin
            else:
                inside = middle
        self.point = self._moved(i, outside)
