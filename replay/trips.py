"""Trip height of each descent: from its own edge, its neighbours' and the way out.

What is looked for is the height of the spool at which the carriage passed the place where a healthy sensor
trips. Visits to the same sensor share it, but for count loss, slip, stretch and slack, which move it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from replay.descents import Descent
from replay.placing import Sight, placed
from replay.sightings import NARROW_MM, Evidence, Interval, ReadingAge, evidence
from replay.track import Track

__all__ = ["NARROW_MM", "Trip", "trip_heights"]

#: Visits on either side of which the edges are taken together.
NEIGHBOURS = 4
#: An edge read this much deeper [mm] than before was read late, if the next ones are where they were; more
#: by this many times what edges wander by.
LATE_MM, LATE_WANDERS = 3.0, 3.0
#: A trip is where the later ones are when it is within this of them [mm].
ALIKE_MM = 6.0
#: The edges before a step kept together when what lies surely between them is at most this share of it.
KEPT_SHARE = 0.3
#: A made reading this much above the trip [mm] that is not there again is false.
FALSE_MM = 25.0
#: Without a sensor the rest heights that agree within this are one end of travel [mm].
SAME_REST_MM = 8.0
#: An edge that wanders by more than this [mm] walks: of all others only the nearest says where it may be.
WALK_MM = 2.0
#: Speed slackens and stretches the string: a visit that differs in speed holds within the way travelled in
#: this time [s]. Own choice, of the order of a carriage's swing on its string.
SWING_S = 0.0015
#: The way that it ran ahead is known to this share: the carriage may have gained a little too.
AHEAD_SHARE = 0.25
#: What carries an edge along is known to this share: counts are lost with speed as well as with the way.
CARRIED_SHARE = 0.3


@dataclass(frozen=True)
class Trip:
    """Trip height of one descent [mm], and the bounds within which it lies nearly surely; NaN if unknown."""

    height: float
    low: float
    high: float

    @property
    def known(self) -> bool:
        """Whether there is any."""
        return self.height == self.height


UNKNOWN = Trip(float("nan"), float("nan"), float("nan"))


def trip_heights(
    track: Track, found: tuple[Descent, ...], intervals: list[Interval | None], age: ReadingAge
) -> list[Trip]:
    """Trip height and its bounds for every descent."""
    edges = evidence(track, found, intervals, age)
    rest = _rest_trip(track, found)
    return [_trip(edges, rest, k) for k in range(len(found))]


def _trip(edges: Evidence, rest: Trip, k: int) -> Trip:
    """Trip height of descent ``k`` with its bounds.

    From its own edge together with its neighbours' and the way out; from the neighbours' alone where it has
    none, or where it was read far too deep: a reading that came late is no other trip, unless the visits
    after it agree with it.
    """
    own = edges.own[k]
    if own is None or _misread(edges, k):
        # a spool that ran on in front of a late reading had passed the trip by then
        before, after = _beside(edges, k, ahead=0.0)
        near = before or after
        return Trip(*placed(near[0], near[1:])) if near else rest
    before, after = _beside(edges, k, edges.ahead[k])
    return Trip(*placed(own, [*before, *after, *_way_out(edges, k)]))


def _beside(edges: Evidence, k: int, ahead: float) -> tuple[list[Sight], list[Sight]]:
    """Edges of the visits nearest before and after descent ``k``, as far as they hold for it too."""

    def seen(order: range) -> list[Sight]:
        known = [(j, sight) for j in order if (sight := edges.own[j]) is not None]
        chosen = _narrow_first(known)[: NEIGHBOURS if edges.wander.mm < WALK_MM else 1]
        return [
            sight.shifted(edges.ahead[j] - ahead + _carried(edges, j, k), _spread(edges, j, k, ahead))
            for j, sight in chosen
        ]

    return seen(range(k - 1, -1, -1)), seen(range(k + 1, len(edges.own)))


def _carried(edges: Evidence, j: int, k: int) -> float:
    """How far the edge was carried along on the way from descent ``j`` to ``k`` [mm]."""
    return edges.wander.per_way * (edges.way[k] - edges.way[j])


def _narrow_first(known: list[tuple[int, Sight]]) -> list[tuple[int, Sight]]:
    narrow = [(j, sight) for j, sight in known if sight.width <= NARROW_MM]
    return narrow or known


def _spread(edges: Evidence, j: int, k: int, ahead: float) -> float:
    """How well the edge of descent ``j`` holds for ``k`` [mm]."""
    swing = SWING_S * abs(edges.speed[k] - edges.speed[j])
    lead = AHEAD_SHARE * max(ahead, edges.ahead[j])
    counted = abs(edges.doubt[k] - edges.doubt[j]) ** 0.5
    carried = CARRIED_SHARE * _carried(edges, j, k)
    return float(np.linalg.norm([edges.wander.mm * abs(k - j) ** 0.5, swing, lead, counted, carried]))


def _way_out(edges: Evidence, k: int) -> list[Sight]:
    """The edge on the way out right after, less the hysteresis.

    A lift leaves its sensor more slowly than it comes in fast, so that the release is the sharper edge.
    """
    release = edges.out[k]
    if release is None:
        return []
    return [Sight(*release).shifted(-edges.hysteresis[0], edges.hysteresis[1])]


def _misread(edges: Evidence, k: int) -> bool:
    """Whether the reading of descent ``k`` came late, or was false, high above the trip."""
    own = edges.own[k]
    assert own is not None
    before, after = _levels(edges, k)
    local = before if not np.isnan(before) else after
    if np.isnan(local):
        return False
    middle, top = own.middle, own.high + own.reach
    if own.width > NARROW_MM and own.low <= local <= top:
        return False
    if _late(edges, k, before - top, abs(after - middle) < abs(after - local)):
        return True
    return middle - local > FALSE_MM and abs(after - local) < min(ALIKE_MM, abs(after - middle))


def _late(edges: Evidence, k: int, deeper: float, stays: bool) -> bool:
    """Whether an edge that came ``deeper`` than before was late, and not a new trip.

    Slipping hubs and longer strings make the edge come earlier. One that comes deeper once was read late;
    one that stays deeper after a single step is a sensor that moved, and the old trip is where a healthy
    one would have tripped. Only a walk over many visits is the count's own.
    """
    if not deeper > LATE_MM + LATE_WANDERS * edges.wander.mm:
        return False
    if not stays:
        return True
    known = [(j, edge) for j, edge in enumerate(edges.own[:k]) if edge is not None]
    before = [edge for _, edge in _narrow_first(known)[-3:]]
    apart = max((edge.low for edge in before), default=0.0) - min((edge.high for edge in before), default=0.0)
    return len(before) >= 2 and apart < KEPT_SHARE * deeper


def _levels(edges: Evidence, k: int) -> tuple[float, float]:
    """Median of the narrow edges nearest before and nearest after descent ``k``; NaN where there is none."""

    def middle(order: range) -> float:
        known = [(j, sight) for j in order if (sight := edges.own[j]) is not None]
        chosen = [sight.middle for _, sight in _narrow_first(known)[:3]]
        return float(np.median(chosen)) if chosen else float("nan")

    return middle(range(k - 1, -1, -1)), middle(range(k + 1, len(edges.own)))


def _rest_trip(track: Track, found: tuple[Descent, ...]) -> Trip:
    """Where no edge was ever seen: the rest height on which most descents end, if two or more agree."""
    lows = np.array([track.height[each.low] for each in found])
    best = max(lows, key=lambda low: (np.sum(np.abs(lows - low) <= SAME_REST_MM), -low), default=np.nan)
    near = lows[np.abs(lows - best) <= SAME_REST_MM]
    if len(near) < 2:
        return UNKNOWN
    return Trip(float(np.median(near)), float(near.min()), float(near.max()))
