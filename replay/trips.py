"""Trip height of each descent: from its own edge, its neighbours' or the way out."""

from __future__ import annotations

import numpy as np

from replay.descents import Descent, edge_interval, release_interval, unseen_way
from replay.track import Track

Interval = tuple[float, float]


def trip_heights(
    track: Track, found: tuple[Descent, ...], intervals: list[Interval | None]
) -> list[tuple[float, float, float]]:
    """Trip height and its bounds (low, high) for every descent [mm]; NaN where none is known.

    ``intervals`` are the descents' own sampling intervals of the edge, as `own_interval` gives them.
    """
    releases = [release_interval(track, each) for each in found]
    hysteresis = _hysteresis(intervals, releases)
    trips = [_trip(track, found, intervals, k) for k in range(len(found))]
    return [
        _refined(trip, own, release, hysteresis)
        for trip, own, release in zip(trips, intervals, releases, strict=True)
    ]


#: An edge is narrow when its sampling interval is at most this wide [mm]; wide ones lean on narrow ones.
NARROW_MM = 4.0


#: Neighbouring visits from which a trip height is taken.
NEIGHBOURS = 3


#: An edge read this much deeper [mm] than before was read late, if the next ones are where they were.
LATE_MM = 6.0


#: A made reading this much above the trip [mm] that is not there again is false.
FALSE_MM = 25.0


#: Without a sensor the rest heights that agree within this are one end of travel [mm].
SAME_REST_MM = 8.0


def own_interval(track: Track, each: Descent) -> Interval | None:
    """Interval of the sensor's edge in this descent; None where it was not seen or was made already."""
    if each.seen is None or each.seen <= each.start:
        return None
    inwards = (
        track.height[each.seen] < track.height[each.seen - 1] or track.speed[each.seen - 1] < -track.still
    )
    return edge_interval(track, each.seen) if inwards else None


def _trip(
    track: Track, found: tuple[Descent, ...], intervals: list[Interval | None], k: int
) -> tuple[float, float, float]:
    """Trip height of descent ``k`` with its bounds.

    Its own edge where that is narrow; the neighbours' edges where its own interval holds them (a wide one
    says no more), where it has none, or where it was read far too deep: a reading that came late is no
    other trip, unless the visits after it agree with it.
    """
    own = intervals[k]
    before, after = _neighbours(intervals, k)
    local = before if not np.isnan(before) else after
    if own is None:
        return (local, local, local) if not np.isnan(local) else _rest_trip(track, found)
    middle = (own[0] + own[1]) / 2
    age = unseen_way(track, found[k].seen or 0)
    if not np.isnan(local):
        if own[1] - own[0] > NARROW_MM and own[0] <= local <= own[1] + age:
            return local, own[0], own[1] + age
        if _late(intervals, k, before - own[1] - age, abs(after - middle) < abs(after - local)):
            return local, own[0], own[1] + age
        if middle - local > FALSE_MM and abs(after - local) < min(LATE_MM, abs(after - middle)):
            # made far above the trip once, and back at it later: a false reading is no trip
            return local, local, local
    return middle, own[0], own[1] + age


def _hysteresis(edges: list[Interval | None], releases: list[Interval | None]) -> float:
    """How much higher than it changes to made the sensor lets go on the way out [mm]; NaN where unknown."""
    both = [
        (out[0] + out[1] - edge[0] - edge[1]) / 2
        for edge, out in zip(edges, releases, strict=True)
        if edge is not None and out is not None and max(edge[1] - edge[0], out[1] - out[0]) <= NARROW_MM
    ]
    return float(np.median(both)) if both else float("nan")


def _refined(
    trip: tuple[float, float, float], own: Interval | None, release: Interval | None, hysteresis: float
) -> tuple[float, float, float]:
    """A trip that is the middle of a wide interval, moved to where the way out right after it says.

    A lift leaves its sensor more slowly than it comes in fast, so that the release is the sharper edge.
    """
    if own is None or release is None or np.isnan(hysteresis) or trip[0] != (own[0] + own[1]) / 2:
        return trip
    width = release[1] - release[0]
    if width >= 0.7 * (own[1] - own[0]):
        return trip
    middle = (release[0] + release[1]) / 2 - hysteresis
    return float(np.clip(middle, own[0], own[1])), own[0], trip[2]


def _late(intervals: list[Interval | None], k: int, deeper: float, stays: bool) -> bool:
    """Whether an edge that came ``deeper`` than before was late, and not a new trip.

    Slipping hubs and longer strings make the edge come earlier. One that comes deeper once was read late;
    one that stays deeper after a single step is a sensor that moved, and the old trip is where a healthy
    one would have tripped. Only a walk over many visits is the count's own.
    """
    if not deeper > LATE_MM:
        return False
    if not stays:
        return True
    before = [sum(edge) / 2 for edge in intervals[max(0, k - 3) : k] if edge is not None]
    return len(before) >= 2 and max(before) - min(before) < 0.3 * deeper


def _neighbours(intervals: list[Interval | None], k: int) -> tuple[float, float]:
    """Middles of the narrow edges nearest before and nearest after descent ``k``; NaN where there is none."""

    def middle(order: range) -> float:
        edges = [edge for j in order if (edge := intervals[j]) is not None]
        narrow = [edge for edge in edges if edge[1] - edge[0] <= NARROW_MM] or edges
        return float(np.median([sum(edge) / 2 for edge in narrow[:NEIGHBOURS]])) if narrow else float("nan")

    return middle(range(k - 1, -1, -1)), middle(range(k + 1, len(intervals)))


def _rest_trip(track: Track, found: tuple[Descent, ...]) -> tuple[float, float, float]:
    """Where no edge was ever seen: the rest height on which most descents end, if two or more agree."""
    lows = np.array([track.height[each.low] for each in found])
    best = max(lows, key=lambda low: (np.sum(np.abs(lows - low) <= SAME_REST_MM), -low), default=np.nan)
    near = lows[np.abs(lows - best) <= SAME_REST_MM]
    if len(near) < 2:
        return (float("nan"),) * 3
    return float(np.median(near)), float(near.min()), float(near.max())
