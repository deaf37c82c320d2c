"""The grid on which an encoder's column stands: its smallest step, and what that makes of a speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Positions lie on a grid when none is further from it than this share of a step.
ON_GRID = 0.05
#: A grid is looked for in this many rows from the first motion on, and changes, at most: further ones can
#: only confirm it.
MOST_ROWS, MOST_CHANGES = 200_000, 20_000
#: Changes smaller than this share of the range are rounding of the file, not steps.
ROUNDING_SHARE = 1e-9


@dataclass(frozen=True)
class Grid:
    """Smallest step of a position column, in its unit, and the median period [s]."""

    step: float
    period_s: float

    @property
    def speed_step(self) -> float:
        """A speed taken from one row to the next is a whole multiple of this [unit of the column per s]."""
        return self.step / self.period_s


def grid_of(position: Floats, time_s: Floats) -> Grid | None:
    """Grid of an encoder column; None where nothing moved, or the values stand on no grid.

    Parameters
    ----------
    position, time_s : (n,) arrays [any unit], [s]
    """
    first = int(np.argmax(position != position[0])) if len(position) else 0
    part = slice(max(0, first - 1), first + MOST_ROWS)
    known = position[part][np.isfinite(position[part])]
    passed = np.diff(time_s[part])
    if len(known) < 2 or not (passed > 0.0).any():
        return None
    change = np.abs(np.diff(known))
    change = change[change > ROUNDING_SHARE * max(float(np.ptp(known)), 1e-300)][:MOST_CHANGES]
    if len(change) == 0:
        return None
    step = float(np.min(change))
    # the mean over the multiples takes the file's rounding out of the smallest one
    step = float(np.sum(change) / np.sum(np.maximum(np.round(change / step), 1.0)))
    off = np.abs(change / step - np.round(change / step))
    if np.quantile(off, 0.99) > ON_GRID:
        return None
    return Grid(step, float(np.median(passed[passed > 0.0])))
