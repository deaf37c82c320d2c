"""Shrinking: as few coordinates as possible away from nominal, and those by as little as possible.

Coordinates are set back one by one, each time the one that leaves the least margin. One that cannot be set
back alone is set back while the others are drawn anew: where several must fit together, such as the phase of
the loops and a height, fewer of them may do at other values. The rest is then moved towards nominal by
bisection. What is kept must still fail, or, when nothing failed, still have nearly the least margin that was
found. Every trial is one simulated run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Halvings of a departure: a tolerance is then known to a thousandth of its width.
HALVINGS = 10
#: Points that are drawn while one coordinate is set back; every other one keeps near what the others were.
TRIES, NEAR = 32, 0.1
#: Without a failing run: how much of the way from the nominal margin down to the least one may be given up.
GIVEN_UP = 0.1


@dataclass(frozen=True)
class Shrunk:
    """The point after shrinking, its margin, and the runs that it took; ``interrupted`` by Ctrl-C, it may be
    larger than it need be.
    """

    point: Floats
    margin: float
    runs: int
    interrupted: bool = False


def shrink(
    margin: Callable[[Floats], float],
    worst: Floats,
    nominal: Floats,
    discrete: NDArray[np.bool_],
    done: Callable[[int, int], None] | None = None,
) -> Shrunk:
    """Shrink a point (d,) towards nominal (d,).

    Ctrl-C ends it early with what it has come to.

    Parameters
    ----------
    margin : callable
        Margin of one point (d,); negative fails.
    discrete : ndarray of bool, shape (d,)
        Coordinates that can only be set back, since what lies between means something else.
    done : callable, optional
        Called with (coordinates decided, coordinates away from nominal at first).
    """
    shrinking, interrupted = _Shrinking(margin, nominal, discrete, done), False
    shrinking.begin(worst)
    try:
        shrinking.set_back()
        while shrinking.set_back_one_while_others_move():
            shrinking.set_back()
        for i in np.flatnonzero((shrinking.point != nominal) & ~discrete):
            shrinking.halve(int(i))
        shrinking.set_back()
    except KeyboardInterrupt:
        interrupted = True
    return Shrunk(*shrinking.kept, shrinking.runs, interrupted)


class _Shrinking:
    def __init__(
        self,
        margin: Callable[[Floats], float],
        nominal: Floats,
        discrete: NDArray[np.bool_],
        done: Callable[[int, int], None] | None,
    ) -> None:
        self._measure, self._nominal, self._discrete, self._done = margin, nominal, discrete, done
        self._generator = np.random.default_rng(0)
        self.runs, self.kept, self._most, self._decided, self._of = 0, (nominal, np.inf), 0.0, 0, 0

    @property
    def point(self) -> Floats:
        return self.kept[0]

    def _keep(self, point: Floats, margin: float) -> None:
        self.kept = point, margin  # in one step: Ctrl-C may come at any moment

    def _tell(self) -> None:
        self._decided += 1
        if self._done is not None:
            self._done(min(self._decided, self._of), self._of)

    def begin(self, worst: Floats) -> None:
        margin = self._tried(worst)
        self._keep(worst.copy(), margin)
        self._of = int(np.sum(worst != self._nominal))
        if margin >= 0.0:
            self._most = margin + GIVEN_UP * max(self._tried(self._nominal) - margin, 0.0)

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
            margin, i = min(kept)
            self._keep(self._moved(i, self._nominal[i]), margin)
            self._tell()

    def set_back_one_while_others_move(self) -> bool:
        """Set one more coordinate back, with other values of the rest; tell whether that was possible."""
        away = self.point != self._nominal
        for i in np.flatnonzero(away):
            moved = away & ~self._discrete
            moved[i] = False
            if not moved.any():
                continue
            for number in range(TRIES):
                trial = self._moved(int(i), self._nominal[i])
                fresh = self._generator.random(len(trial))
                near = np.clip(trial + NEAR * (2.0 * fresh - 1.0), 0.0, 1.0)
                trial[moved] = (near if number % 2 else fresh)[moved]
                margin = self._tried(trial)
                if self._keeps(margin):
                    self._keep(trial, margin)
                    self._tell()
                    return True
        return False

    def halve(self, i: int) -> None:
        """Move one coordinate towards nominal as far as it still fails."""
        inside, outside = float(self._nominal[i]), float(self.point[i])
        for _ in range(HALVINGS):
            middle = 0.5 * (inside + outside)
            margin = self._tried(self._moved(i, middle))
            if self._keeps(margin):
                outside = middle
                self._keep(self._moved(i, middle), margin)
            else:
                inside = middle
        self._tell()
