"""One number that the search may move, and the ranges in which such numbers make sense.

The three guards (time-out, travel guard, no-motion time) are not among them: longer is always better for
the requirements and always worse when something is broken, so that no search could set them. ``guards.py``
sets them by rule. The reverse holds for settling and agreeing, whose benefit shows in faults alone; they
are kept within what is common practice. With the hard stop as sensor the no-motion time *is* the sensor's
answer, and is searched. Which numbers of a lift these are is in ``knobs.py``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FAST, CREEP, NO_MOTION = "fast_speed_mm_s", "creep_speed_mm_s", "no_motion_ms"
#: Part of the unloaded drive's speed that a loaded one can be expected to reach. Own choice.
REACHABLE_SHARE = 0.9
#: Slowest speeds worth trying, as parts of the unloaded drive's speed. Own choice.
SLOWEST_FAST_SHARE, SLOWEST_CREEP_SHARE = 0.05, 0.01
#: Common practice, no source: back off 5 to 20 mm, stand 50 to 250 ms.
BACK_OFF_MM, SETTLE_MS = (5.0, 20.0), (50.0, 250.0)
#: Loops that fit into the shortest settling, so that standing can be told from moving slowly. Own choice.
SETTLE_LOOPS = 2.5
#: Two readings is the least that can disagree.
AGREE = (2.0, 5.0)
#: The longest slow zone, as a part of the travel. Own choice.
SLOW_ZONE_SHARE = 0.5
#: Shortest and longest no-motion time of a lift that feels for its stop: loops, and [ms]. Own choice.
STALL_LOOPS, STALL_MS = 3.0, 600.0
#: Speeds are rounded to this part of themselves at most, so that they can be read. Own choice.
SPEED_STEPS = ((100.0, 5.0), (0.0, 1.0))


@dataclass(frozen=True)
class Knob:
    """One setting: a key below ``[routine]``, its range, its step, and whether ratios count (speeds).

    Range and step are those of its size. ``sign`` is what the size is multiplied by (-1: a way in), ``also``
    are other keys with their signs that take the same size, ``under`` is a knob before it which it never
    exceeds.
    """

    key: str
    low: float
    high: float
    step: float
    ratio: bool = False
    sign: float = 1.0
    also: tuple[tuple[str, float], ...] = ()
    under: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys that it sets, its own first."""
        return (self.key, *(key for key, _ in self.also))

    def at(self, share: float, high: float | None = None) -> float:
        """Size at a share 0..1 of the range, on the step."""
        top = self.high if high is None else max(min(self.high, high), self.low)
        value = self.low * (top / self.low) ** share if self.ratio else self.low + (top - self.low) * share
        return rounded(value, self.step)

    def share(self, size: float, high: float | None = None) -> float:
        """Share 0..1 of the range at which a size lies; the nearest end if it lies outside."""
        top = self.high if high is None else max(min(self.high, high), self.low)
        if top <= self.low:
            return 0.0
        if self.ratio:
            return float(np.clip(np.log(size / self.low) / np.log(top / self.low), 0.0, 1.0))
        return float(np.clip((size - self.low) / (top - self.low), 0.0, 1.0))

    def settings(self, size: float) -> dict[str, float]:
        """Every key of the knob at a size."""
        return {key: sign * size for key, sign in ((self.key, self.sign), *self.also)}


def rounded(value: float, step: float) -> float:
    """The nearest multiple of a step, free of the rounding of its product."""
    return float(round(round(value / step) * step, 9))


def settle_knob(key: str, period_ms: float, also: tuple[tuple[str, float], ...] = ()) -> Knob:
    """Time to stand still before readings count."""
    low, high = max(SETTLE_MS[0], SETTLE_LOOPS * period_ms), max(SETTLE_MS[1], 5 * period_ms)
    return Knob(key, low, high, 10.0, also=also)


def stall_knob(key: str, period_ms: float, also: tuple[tuple[str, float], ...] = ()) -> Knob:
    """Time without motion that tells the hard stop."""
    return Knob(key, STALL_LOOPS * period_ms, max(STALL_MS, 10 * period_ms), 10.0, also=also)


def speed_step(fastest: float) -> float:
    """Step in which the fastest speed is searched [mm/s]."""
    return next(step for above, step in SPEED_STEPS if fastest > above)


def settings_at(own: Sequence[Knob], point: Floats) -> dict[str, float]:
    """Settings at a point of the unit cube; a range ends at the knob that it stays under."""
    sizes: dict[str, float] = {}
    settings: dict[str, float] = {}
    for knob, share in zip(own, point, strict=True):
        sizes[knob.key] = knob.at(float(share), sizes.get(knob.under))
        settings |= knob.settings(sizes[knob.key])
    return settings


def point_of(own: Sequence[Knob], settings: Mapping[str, float]) -> Floats:
    """The point of the unit cube nearest to some settings."""
    sizes = {knob.key: abs(settings[knob.key]) for knob in own}
    return np.array([knob.share(sizes[knob.key], sizes.get(knob.under)) for knob in own])
