"""What each descent says of the place where its sensor trips, gathered for `replay.trips`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from replay.descents import Descent, edge_interval, release_interval
from replay.placing import Sight
from replay.track import Track
from replay.wandering import Wander, wander_of

Interval = tuple[float, float]

#: An edge is narrow when its sampling interval is at most this wide [mm]; wide ones lean on narrow ones.
NARROW_MM = 4.0
#: Where no way out was seen sharply: a sensor lets go this much higher than it trips, string stretch
#: included, and this much more or less [mm]. Common practice, no source.
HYSTERESIS_MM, HYSTERESIS_SPREAD_MM = 2.0, 1.5
#: Hysteresis measured in this log holds within this [mm].
MEASURED_SPREAD_MM = 0.7
#: The spool ran ahead of the carriage if it gained this much [mm] at an unchanged command in front of the
#: trip, compared over `AHEAD_S` with the `STEADY_S` before [s].
AHEAD_MM, AHEAD_S, STEADY_S = 3.0, 0.1, 0.15
#: It ran steadily when two ways that follow each other agree in speed within this share: a lift that is still
#: gathering speed gains on its average too.
STEADY_SHARE = 0.06
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
    """Evidence of all descents: own edges, ways out, speeds, and by how much the spool ran ahead.

    ``way`` is what was travelled up to each [mm], ``wander`` how the edge goes from one to the next.
    ``doubt`` is the variance [mm^2] that all sets of the count before each descent's edge have left in its
    height: two descents are compared as well as the sets between them are known.
    """

    own: tuple[Sight | None, ...]
    out: tuple[Interval | None, ...]
    speed: tuple[float, ...]
    ahead: tuple[float, ...]
    hysteresis: tuple[float, float]
    wander: Wander
    way: tuple[float, ...]
    doubt: tuple[float, ...]


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
    travelled = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(track.height)))])
    ways = tuple(float(travelled[each.low if each.seen is None else each.seen]) for each in found)
    return Evidence(
        own=tuple(sights),
        out=tuple(releases),
        speed=speeds,
        ahead=tuple(ran_ahead(track, each) for each in found),
        hysteresis=_hysteresis(sights, releases),
        wander=wander_of(sights, ways),
        way=ways,
        doubt=tuple(_doubt(track, each) for each in found),
    )


def _doubt(track: Track, each: Descent) -> float:
    """Variance of the height at a descent's edge for all the times the count was set before it [mm^2]."""
    at = each.low if each.seen is None else each.seen
    return sum(one.doubt**2 for one in track.sets if one.index <= at)


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
    since = _steady_until(track, first, middle, each.start)
    if since is None:
        return 0.0
    steady = _fall_rate(track, first, since)
    gained = float(
        track.height[since] - track.height[last] - steady * (track.time_s[last] - track.time_s[since])
    )
    return gained if gained > max(AHEAD_MM, 3 * track.quantum) else 0.0


def _fall_rate(track: Track, first: int, last: int) -> float:
    """Speed inwards between two rows [mm/s]."""
    way = track.height[first] - track.height[last]
    return float(way / (track.time_s[last] - track.time_s[first]))


def _steady_until(track: Track, first: int, last: int, start: int) -> int | None:
    """Row up to which it had run at one speed before it gained; None if it gathered speed all the time.

    Both halves of the way from ``first`` to ``last`` are compared; where they differ, the first half with
    the way before it: the load may have gone in between.
    """
    half = (first + last) // 2
    if half - first < 1:
        return None
    if _alike(track, first, half, last):
        return last
    earlier = track.after(first, -STEADY_S)
    return half if start < earlier < first and _alike(track, earlier, first, half) else None


def _alike(track: Track, first: int, middle: int, last: int) -> bool:
    """Whether two ways that follow each other were run at one speed, as far as counts can tell."""
    one, two = _fall_rate(track, first, middle), _fall_rate(track, middle, last)
    doubt = 4 * track.quantum / max(float(track.time_s[last] - track.time_s[first]), 1e-9)
    return abs(two - one) <= STEADY_SHARE * max(abs(one), abs(two)) + doubt


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
