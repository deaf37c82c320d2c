"""What each descent says of the place where its sensor trips, gathered for `replay.trips`."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from replay.descents import Descent, edge_interval, release_interval
from replay.placing import Sight
from replay.track import Track

Interval = tuple[float, float]

#: An edge is narrow when its sampling interval is at most this wide [mm]; wide ones lean on narrow ones.
NARROW_MM = 4.0
#: A healthy edge wanders by this from one visit to the next [mm]: sensor repeatability, string, play.
WANDER_MM = 0.4
#: Where no way out was seen sharply: a sensor lets go this much higher than it trips, string stretch
#: included, and this much more or less [mm]. Common practice, no source.
HYSTERESIS_MM, HYSTERESIS_SPREAD_MM = 2.0, 1.5
#: Hysteresis measured in this log holds within this [mm].
MEASURED_SPREAD_MM = 0.7
#: The spool ran ahead of the carriage if it gained this much [mm] at an unchanged command in front of the
#: trip, compared over `AHEAD_S` with the `STEADY_S` before [s].
AHEAD_MM, AHEAD_S, STEADY_S = 3.0, 0.1, 0.15
#: Commands over their largest size that differ by less than this are the same.
SAME_COMMAND = 0.03


@dataclass(frozen=True)
class ReadingAge:
    """How old a reading is when its row is written [s].

    ``mean_s`` is what filters and transport take on average, ``hold_s`` the period of a sensor that samples
    by itself. Without a lift file: most sensors are read within a millisecond or two. Own choice.
    """

    mean_s: float = 0.0015
    hold_s: float = 0.0


#: Readings of a sensor of which nothing is known.
PROMPT = ReadingAge()


@dataclass(frozen=True)
class Evidence:
    """Evidence of all descents: own edges, ways out, speeds, and by how much the spool ran ahead."""

    own: tuple[Sight | None, ...]
    out: tuple[Interval | None, ...]
    speed: tuple[float, ...]
    ahead: tuple[float, ...]
    hysteresis: tuple[float, float]
    wander: float


def evidence(
    track: Track, found: tuple[Descent, ...], intervals: list[Interval | None], age: ReadingAge
) -> Evidence:
    """Gather what all descents say.

    ``intervals`` are the descents' own sampling intervals of the edge, as `own_interval` gives them.
    """
    speeds = tuple(_speed(track, each) for each in found)
    sights = [
        None if own is None else Sight(*own, age=age.mean_s * speed, hold=age.hold_s * speed)
        for own, speed in zip(intervals, speeds, strict=True)
    ]
    releases = [release_interval(track, each) for each in found]
    return Evidence(
        own=tuple(sights),
        out=tuple(releases),
        speed=speeds,
        ahead=tuple(ran_ahead(track, each) for each in found),
        hysteresis=_hysteresis(sights, releases),
        wander=_wander(sights),
    )


def own_interval(track: Track, each: Descent) -> Interval | None:
    """Interval of the sensor's edge in this descent; None where it was not seen or was made already."""
    if each.seen is None or each.seen <= each.start:
        return None
    inwards = (
        track.height[each.seen] < track.height[each.seen - 1] or track.speed[each.seen - 1] < -track.still
    )
    return edge_interval(track, each.seen) if inwards else None


def ran_ahead(track: Track, each: Descent) -> float:
    """How far the spool ran ahead of the carriage in front of the first reading [mm]; 0 where it did not.

    At an unchanged command a drive turns faster only when its load is gone: the carriage does not follow,
    and is higher than the count says by what the spool has gained on it.
    """
    if track.command is None or each.seen is None or each.seen <= each.start:
        return 0.0
    last = each.seen - 1
    middle = track.after(last, -AHEAD_S)
    first = track.after(middle, -STEADY_S)
    if first <= each.start or middle - first < 2 or np.ptp(track.command[first : last + 1]) > SAME_COMMAND:
        return 0.0
    time, height = track.time_s, track.height
    steady = (height[first] - height[middle]) / (time[middle] - time[first])
    gained = float(height[middle] - height[last] - steady * (time[last] - time[middle]))
    return gained if gained > max(AHEAD_MM, 3 * track.quantum) else 0.0


def _speed(track: Track, each: Descent) -> float:
    """Speed in front of the first reading, inwards [mm/s]; of the deepest row where there is none."""
    at = each.low if each.seen is None else each.seen
    return max(0.0, -float(track.speed[max(at - 1, 0)]))


def _hysteresis(edges: list[Sight | None], releases: list[Interval | None]) -> tuple[float, float]:
    """How much higher than it trips the sensor lets go on the way out, and how surely [mm]."""
    both = [
        (out[0] + out[1]) / 2 - edge.middle - edge.age - edge.hold / 2
        for edge, out in zip(edges, releases, strict=True)
        if edge is not None and out is not None and max(edge.width, out[1] - out[0]) <= NARROW_MM
    ]
    if not both:
        return HYSTERESIS_MM, HYSTERESIS_SPREAD_MM
    return float(np.median(both)), MEASURED_SPREAD_MM


def _wander(edges: list[Sight | None]) -> float:
    """How far the edge wanders from visit to visit [mm].

    The median gap between intervals that follow one another, without the two largest: a single odd visit
    makes two.
    """
    seen = [each for each in edges if each is not None]
    gaps = sorted(
        max(0.0, one.low - two.high - two.reach, two.low - one.high - one.reach)
        for one, two in pairwise(seen)
    )[:-2]
    return WANDER_MM + float(np.median(gaps)) if gaps else WANDER_MM
