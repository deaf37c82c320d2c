"""What the search may move: settings of the built-in sequence, how far and in which steps.

The three guards (time-out, travel guard, no-motion time) are not among them: longer is always better for
the requirements and always worse when something is broken, so that no search could set them. ``guards.py``
sets them by rule. The reverse holds for settling and agreeing, whose benefit shows in faults alone; they
are kept within what is common practice. With the hard stop as sensor the no-motion time *is* the sensor's
answer, and is searched.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

FAST, CREEP = "fast_speed_mm_s", "creep_speed_mm_s"
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
    """One setting: a key of ``[routine]``, its range, its step, and whether ratios count (speeds)."""

    key: str
    low: float
    high: float
    step: float
    ratio: bool = False

    def at(self, share: float, high: float | None = None) -> float:
        """Value at a share 0..1 of the range, on the step."""
        top = self.high if high is None else max(min(self.high, high), self.low)
        value = self.low * (top / self.low) ** share if self.ratio else self.low + (top - self.low) * share
        return rounded(value, self.step)

    def share(self, value: float, high: float | None = None) -> float:
        """Share 0..1 of the range at which a value lies; the nearest end if it lies outside."""
        top = self.high if high is None else max(min(self.high, high), self.low)
        if top <= self.low:
            return 0.0
        if self.ratio:
            return float(np.clip(np.log(value / self.low) / np.log(top / self.low), 0.0, 1.0))
        return float(np.clip((value - self.low) / (top - self.low), 0.0, 1.0))


def rounded(value: float, step: float) -> float:
    """The nearest multiple of a step, free of the rounding of its product."""
    return float(round(round(value / step) * step, 9))


def knobs(lift: Lift) -> tuple[Knob, ...]:
    """The settings that the search moves on this lift."""
    free, period, travel = lift.drive.free_speed_mm_s, lift.controller.period_ms, lift.lift.travel_mm
    fastest = REACHABLE_SHARE * free
    step = next(step for above, step in SPEED_STEPS if fastest > above)
    found = [
        Knob(FAST, max(SLOWEST_FAST_SHARE * free, step), fastest, step, ratio=True),
        Knob(CREEP, max(SLOWEST_CREEP_SHARE * free, 1.0), fastest, 1.0, ratio=True),
        Knob("back_off_mm", *BACK_OFF_MM, 0.5),
        Knob("settle_ms", max(SETTLE_MS[0], SETTLE_LOOPS * period), max(SETTLE_MS[1], 5 * period), 10.0),
        Knob("agree_readings", *AGREE, 1.0),
    ]
    if lift.routine.referenced_at_start:
        # before the first zero no height is known, and the zone has no effect
        found.append(Knob("slow_zone_mm", 0.0, SLOW_ZONE_SHARE * travel, 5.0))
    if lift.sensor().kind is SensorKind.STALL:
        found.append(Knob("no_motion_ms", STALL_LOOPS * period, max(STALL_MS, 10 * period), 10.0))
    return tuple(found)


def settings_at(own: Sequence[Knob], point: Floats) -> dict[str, float]:
    """Settings at a point of the unit cube; the slow speed's range ends at the fast speed."""
    settings: dict[str, float] = {}
    for knob, share in zip(own, point, strict=True):
        settings[knob.key] = knob.at(float(share), settings[FAST] if knob.key == CREEP else None)
    return settings


def point_of(own: Sequence[Knob], settings: Mapping[str, float]) -> Floats:
    """The point of the unit cube nearest to some settings."""
    high = {CREEP: settings[FAST]}
    return np.array([knob.share(settings[knob.key], high.get(knob.key)) for knob in own])
