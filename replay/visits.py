"""Arrivals at the retracted end: where the trip was passed, how fast, how far past it, and what happened.

The flow: descents -> where the sensor changed in each -> the trip height that holds around each descent
-> which descents passed it -> numbers of each visit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.descents import Descent, descents
from replay.diagnosis import Visit
from replay.sightings import PROMPT, Interval, ReadingAge, own_interval
from replay.standing import depth_of, first_stand
from replay.track import Track
from replay.trips import Trip, trip_heights

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

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


def _visit(track: Track, each: Descent, trip: Trip, own: Interval | None, hold: float, number: int) -> Visit:
    at = _passed(track, each, trip.height)
    stand = first_stand(track, at, each.end)
    near = track.span(track.after(at, -AROUND_S), max(stand, each.seen or at))
    read_low, read_high = own if own is not None else (float("nan"), float("nan"))
    overtravel, low, high, deepest = _ways(track, trip, at, stand, each.end)
    delay_s, run_on = _stopping(track, each, stand, hold)
    battery_v, battery_low_v, current_a = _electrics(track, near)
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
        read_low=read_low,
        read_high=read_high,
        edge_low=trip.low,
        edge_high=trip.high,
        overtravel=overtravel,
        overtravel_low=low,
        overtravel_high=high,
        deepest=deepest,
        rest=float(track.height[stand]),
        command_delay_s=delay_s,
        run_on=run_on,
        zeros=tuple(one.index for one in track.sets if at - 1 <= one.index <= each.end),
        longest_step_s=float(np.max(track.step_s[near], initial=0.0)),
        battery_v=battery_v,
        battery_low_v=battery_low_v,
        current_a=current_a,
    )


def _passed(track: Track, each: Descent, trip: float) -> int:
    """First row at or below the trip; the deepest where none is."""
    below = np.flatnonzero(track.height[each.start : each.end + 1] <= trip)
    return each.start + int(below[0]) if len(below) else each.low


def _ways(track: Track, trip: Trip, at: int, stand: int, end: int) -> tuple[float, float, float, float]:
    """Overtravel, its bounds, and the way past the trip at most [mm]."""
    depth = depth_of(track, at, stand, end)
    past = max(trip.height - depth.height, 0.0)
    most = trip.height - float(np.min(track.height[at : end + 1]))
    return past, max(trip.low - depth.high, 0.0), max(trip.high - depth.low, 0.0), max(most, past)


def _stopping(track: Track, each: Descent, stand: int, hold: float) -> tuple[float, float]:
    """Time from the reading to the changed command [s], and the way run on from there [mm]."""
    change = command_change(track, each.seen, each.end, hold)
    since = each.seen if track.command is None else change
    return _delay(track, each.seen, change), _run_on(track, since, stand)


def _electrics(track: Track, near: slice) -> tuple[float, float, float]:
    """Median and lowest battery voltage [V], highest current [A]; NaN without the columns."""
    battery_v = battery_low_v = current_a = float("nan")
    if track.battery is not None:
        battery_v, battery_low_v = float(np.median(track.battery[near])), float(np.min(track.battery[near]))
    if track.current is not None:
        current_a = float(np.max(np.abs(track.current[near])))
    return battery_v, battery_low_v, current_a


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


def switched_off(command: Floats, before: float) -> Flags:
    """Rows (k,) in which a command that was ``before`` is switched off.

    A command near nothing is off where the one before was plainly not; where that was small itself, only
    an exact 0 is: a controller that computes its command hardly ever meets it.
    """
    if abs(before) > 3 * OFF:
        return np.asarray(np.abs(command) < OFF)
    return np.asarray((command == 0.0) & (before != 0.0))


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
    stopped |= switched_off(command, before)
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
