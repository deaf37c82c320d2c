"""Arrivals at the retracted end: where the trip was passed, how fast, how far past it, and what happened.

The flow: descents -> where the sensor changed in each -> the trip height that holds around each descent
-> which descents passed it -> numbers of each visit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.descents import Descent, descents, first_stand
from replay.diagnosis import Visit
from replay.sightings import PROMPT, Interval, ReadingAge, own_interval
from replay.track import Track
from replay.trips import Trip, trip_heights

Floats = NDArray[np.float64]

#: Commands below this share of full scale are off: stopped or coasting, whatever held the lift before.
OFF = 0.004
#: Approach speed is taken over this time in front of the edge [s].
APPROACH_S = 0.08
#: Battery, current and loop periods are taken from this long before the trip to the standstill [s].
AROUND_S = 0.25
#: A descent that ends this much above the trip has not arrived [mm].
SHORT_OF_MM = 2.0
#: The command has changed when it has gone this share of the way to what holds or stops the lift.
COMMAND_SHARE = 0.5


@dataclass(frozen=True)
class Visits:
    """Visits of a track, the descents they come from (also those that did not arrive), and the trips.

    ``trips`` (k,) is the trip height that holds for each descent [mm], NaN where none is known;
    ``arrived`` the index of the descent for each visit.
    """

    visits: tuple[Visit, ...]
    descents: tuple[Descent, ...]
    trips: tuple[float, ...]
    arrived: tuple[int, ...]
    hold: float

    def descent(self, visit: Visit) -> Descent:
        """The descent of a visit."""
        return self.descents[self.arrived[visit.number - 1]]


def visits_of(track: Track, age: ReadingAge = PROMPT) -> Visits:
    """Find all visits of a track, whose readings are of this age."""
    found = descents(track)
    intervals = [own_interval(track, each) for each in found]
    trips = trip_heights(track, found, intervals, age)
    hold = hold_level(track)
    visits: list[Visit] = []
    arrived: list[int] = []
    for k, each in enumerate(found):
        trip = trips[k]
        if not trip.known or not _arrives(track, each, trip.height, intervals[k]):
            continue
        visits.append(_visit(track, each, trip, intervals[k], hold, len(visits) + 1))
        arrived.append(k)
    return Visits(tuple(visits), found, tuple(trip.height for trip in trips), tuple(arrived), hold)


def hold_level(track: Track) -> float:
    """Command with which the lift is held at rest (0 when it coasts or no command is logged)."""
    if track.command is None:
        return 0.0
    still = np.abs(track.speed) <= track.still
    return float(np.median(track.command[still])) if still.any() else 0.0


def _arrives(track: Track, each: Descent, trip: float, own: Interval | None) -> bool:
    if float(track.height[each.start]) <= trip:
        return False
    return own is not None or float(track.height[each.low]) <= trip + SHORT_OF_MM


def _visit(
    track: Track,
    each: Descent,
    trip: Trip,
    own: Interval | None,
    hold: float,
    number: int,
) -> Visit:
    height = track.height
    below = np.flatnonzero(height[each.start : each.end + 1] <= trip.height)
    at = each.start + int(below[0]) if len(below) else each.low
    stand = first_stand(track, at, each.end)
    near = track.span(track.after(at, -AROUND_S), max(stand, each.seen or at))
    past = float(trip.height - np.min(height[at : max(stand, at) + 1]))
    change = command_change(track, each.seen, each.end, hold)
    battery, current = track.battery, track.current
    return Visit(
        number=number,
        start=each.start,
        at=at,
        stand=stand,
        end=each.end,
        t_s=float(track.log.time_s[at]),
        row=int(track.log.row[at]),
        made=each.seen is not None,
        seen=each.seen,
        approach_speed=approach_speed(track, at, each.start),
        edge=trip.height,
        edge_logged=_as_counted(track, at, trip.height),
        read_low=float("nan") if own is None else own[0],
        read_high=float("nan") if own is None else own[1],
        edge_low=trip.low,
        edge_high=trip.high,
        overtravel=max(past, 0.0),
        deepest=max(float(trip.height - np.min(height[at : each.end + 1])), 0.0),
        rest=float(height[stand]),
        command_delay_s=_delay(track, each.seen, change),
        run_on=_run_on(track, each.seen if track.command is None else change, stand),
        zeros=tuple(one.index for one in track.sets if at - 1 <= one.index <= each.end),
        longest_step_s=float(np.max(track.step_s[near], initial=0.0)),
        battery_v=float(np.median(battery[near])) if battery is not None else float("nan"),
        battery_low_v=float(np.min(battery[near])) if battery is not None else float("nan"),
        current_a=float(np.max(np.abs(current[near]))) if current is not None else float("nan"),
    )


def _as_counted(track: Track, at: int, edge: float) -> float:
    """The edge over the zero that the count had when it was passed [mm]."""
    row = max(at - 1, 0)
    counts = track.log.counts[row]
    if not np.isfinite(counts):
        return edge
    sign = -1.0 if track.turned else 1.0
    return float(counts * track.scale + sign * (edge - track.height[row]))


def approach_speed(track: Track, at: int, start: int) -> float:
    """Speed in front of row ``at`` [mm/s], positive inwards, over `APPROACH_S` that ends one row before."""
    last = max(at - 1, start)
    first = max(start, min(track.after(last, -APPROACH_S), last - 2))
    if last <= first:
        return max(0.0, -float(track.speed[at]))
    way = track.height[first] - track.height[last]
    return max(0.0, float(way / max(track.time_s[last] - track.time_s[first], 1e-9)))


def command_change(track: Track, seen: int | None, end: int, hold: float) -> int | None:
    """First row from ``seen`` on in which the command has left the approach for stopping or holding."""
    if track.command is None or seen is None or seen < 1:
        return None
    before = float(np.median(track.command[max(0, seen - 3) : seen]))
    target = min(max(hold, 0.0), 0.0) if before < 0 else max(hold, before)
    if target - before < 0.02:
        target = hold
    if target - before < 0.01:
        return None
    command = track.command[seen : end + 1]
    stopped = command >= before + COMMAND_SHARE * (target - before)
    if abs(before) > 3 * OFF:
        stopped |= np.abs(command) < OFF
    later = np.flatnonzero(stopped)
    return seen + int(later[0]) if len(later) else None


def _delay(track: Track, seen: int | None, change: int | None) -> float:
    if seen is None or change is None:
        return float("nan")
    return float(track.time_s[change] - track.time_s[seen])


def _run_on(track: Track, change: int | None, stand: int) -> float:
    if change is None or change > stand:
        return float("nan")
    return float(track.height[change] - np.min(track.height[change : stand + 1]))
