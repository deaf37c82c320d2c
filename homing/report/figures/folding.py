"""Heights along a lift drawn 1:1 on a sheet that is shorter than the lift: empty stretches are left out.

Between two heights that matter, a stretch may be replaced by a break mark; everything else stays in true
millimetres. The longest empty stretches go first, and only as many as must.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

#: Drawn on either side of a break [mm of paper and of lift].
KEPT_MM = 4.0
#: Room for the break mark itself [mm of paper].
BREAK_MM = 6.0


@dataclass(frozen=True)
class Break:
    """A stretch of the lift that is left out: its ends [mm of lift], and where it is drawn (its middle)."""

    low: float
    high: float
    y: float

    @property
    def left_out_mm(self) -> float:
        """How much is left out."""
        return self.high - self.low


@dataclass(frozen=True)
class Folded:
    """Where each height stands on the sheet.

    Parameters
    ----------
    low, high : float
        Lowest and highest height drawn [mm].
    bottom : float
        Where ``low`` stands on the sheet, y downwards [mm].
    stretches : tuple of (low, high)
        What is left out, rising.
    """

    low: float
    high: float
    bottom: float
    stretches: tuple[tuple[float, float], ...]

    def y(self, height: float) -> float:
        """Place on the sheet of a height [mm]."""
        up = height - self.low
        for low, high in self.stretches:
            if height > low:
                # within a break, heights share the break's paper evenly
                inside = (min(height, high) - low) / (high - low)
                up -= min(height, high) - low - BREAK_MM * inside
        return self.bottom - up

    @property
    def breaks(self) -> tuple[Break, ...]:
        """The breaks, from below."""
        return tuple(Break(low, high, self.y(0.5 * (low + high))) for low, high in self.stretches)

    def is_true(self, first: float, second: float) -> bool:
        """Whether the distance between two heights is drawn in its true length."""
        low, high = sorted((first, second))
        return not any(low < b.high and high > b.low for b in self.breaks)


def fold(heights: Sequence[float], bottom: float, room: float, ends: tuple[float, float]) -> Folded:
    """Leave out what must be left out to draw all heights within ``room`` millimetres of paper.

    Parameters
    ----------
    heights : sequence of float
        Heights that matter [mm]; around each of them ``KEPT_MM`` are drawn.
    bottom : float
        Where the lowest end stands on the sheet [mm].
    room : float
        Paper above that [mm].
    ends : (float, float)
        Lowest and highest height drawn [mm].
    """
    low, high = ends
    marks = sorted({low, *heights, high})
    gaps = [(first + KEPT_MM, second - KEPT_MM) for first, second in pairwise(marks)]
    worth = sorted((gap for gap in gaps if gap[1] - gap[0] > BREAK_MM), key=lambda gap: gap[0] - gap[1])
    left_out: list[tuple[float, float]] = []
    needed = high - low
    for gap in worth:
        if needed <= room:
            break
        left_out.append(gap)
        needed -= gap[1] - gap[0] - BREAK_MM
    return Folded(low, high, bottom, tuple(sorted(left_out)))
