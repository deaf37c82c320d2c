"""The end of one visit cut out of a log: the way in, the commands, and when they changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from replay.fit_channels import command_rows
from replay.track import Track

Floats = NDArray[np.float64]
MM = 1e-3

#: The simulation begins this long before the trip [s]: long enough to settle, too short to drift.
LEAD_S = 0.3
#: The command has changed when it is this share of the way from approach to rest.
CHANGED_SHARE = 0.5
#: It has begun to change when it is this far: noise of a logged voltage is less.
BEGUN_SHARE = 0.1
#: A command this close to the one at rest was never an approach that could be changed.
NO_APPROACH = 0.02


class Arrival(Protocol):
    """What is needed of a visit: indices into the track and heights in its mm."""

    @property
    def start(self) -> int: ...
    @property
    def at(self) -> int: ...
    @property
    def stand(self) -> int: ...
    @property
    def end(self) -> int: ...
    @property
    def seen(self) -> int | None: ...
    @property
    def edge(self) -> float: ...
    @property
    def edge_low(self) -> float: ...
    @property
    def edge_high(self) -> float: ...
    @property
    def approach_speed(self) -> float: ...
    @property
    def overtravel(self) -> float: ...


@dataclass(frozen=True)
class Approach:
    """The bad visit with its clock starting at the trip; SI.

    Parameters
    ----------
    speed_m_s : float
        Inwards, in front of the trip.
    begin_m, begin_m_s : float
        Height over the edge and speed inwards at the first command.
    edge_error_m : tuple of float
        Bounds of the edge around its middle.
    commands : (m, 3) array
        Instants over the trip [s], duty, terminal voltage [V] (0: none logged), from `LEAD_S` before the
        trip to the standstill.
    changed_s : float
        When the command changed from approach to stop; inf if it did not before the standstill.
    begun_s : float
        When it began to change: a drive with a loop of its own ramps its voltage, and may be a row late.
    first_row_s, seen_s : float
        First row after the trip, first made reading (inf: never).
    stand_s : float
        Standstill.
    approach_duty, rest_duty : float
    period_s : float
        Median loop period.
    overtravel_m : float
        As logged.
    logged : (n, 2) array
        Instants over the trip [s] and heights over the edge [m] of the log's rows, from the trip to the
        standstill.
    """

    speed_m_s: float
    begin_m: float
    begin_m_s: float
    edge_error_m: tuple[float, float]
    commands: Floats
    changed_s: float
    begun_s: float
    first_row_s: float
    seen_s: float
    stand_s: float
    approach_duty: float
    rest_duty: float
    period_s: float
    overtravel_m: float
    logged: Floats


def approach_of(track: Track, visit: Arrival, duty: Floats, bus_v: Floats, *, ramps: bool) -> Approach | None:
    """Cut one visit out of a track; None when it has no approach that was commanded.

    Parameters
    ----------
    duty, bus_v : (n,) arrays
        Commands of the log as duties, battery voltages (0: none logged).
    ramps : bool
        The drive's own voltage is logged, which changes between the rows.
    """
    trip_s = _trip_s(track, visit)
    first = min(track.after(visit.at, -LEAD_S - (track.time_s[visit.at] - trip_s)), visit.at - 1)
    if first < visit.start or visit.at < 1 or visit.stand <= visit.at:
        first = max(visit.start, 0)
    last = max(visit.stand, visit.at + 1)
    rows = slice(first, last + 1)
    if not np.isfinite(duty[rows]).all() or visit.approach_speed <= 0.0:
        return None
    time = track.time_s[rows] - trip_s
    before = max(1, visit.at - first)
    approach = float(np.median(duty[rows][:before]))
    rest = _rest_duty(track, duty)
    heights_m = (track.height[rows] - visit.edge) * MM
    changed_s = _changed_s(time, duty[rows], approach, rest)
    return Approach(
        speed_m_s=visit.approach_speed * MM,
        begin_m=float(track.height[first] - visit.edge) * MM,
        begin_m_s=_speed_at(track, first) * MM,
        edge_error_m=_edge_error_m(visit),
        commands=command_rows(time, duty[rows], bus_v[rows], ramps=ramps),
        changed_s=changed_s,
        begun_s=_begun_s(time, duty[rows], approach, rest) if ramps else changed_s,
        first_row_s=max(0.0, float(track.time_s[visit.at] - trip_s)),
        seen_s=np.inf if visit.seen is None else max(0.0, float(track.time_s[visit.seen] - trip_s)),
        stand_s=float(time[-1]),
        approach_duty=approach,
        rest_duty=rest,
        period_s=track.period_s,
        overtravel_m=visit.overtravel * MM,
        logged=np.column_stack([time, heights_m])[time >= 0.0],
    )


def _trip_s(track: Track, visit: Arrival) -> float:
    """Time at which the trip was passed, between two rows [s]."""
    at = max(1, visit.at)
    above, below = float(track.height[at - 1]), float(track.height[at])
    share = np.clip((above - visit.edge) / (above - below), 0.0, 1.0) if above > below else 1.0
    return float(track.time_s[at - 1] + share * (track.time_s[at] - track.time_s[at - 1]))


def _edge_error_m(visit: Arrival) -> tuple[float, float]:
    """Bounds of the edge around where it is taken to be [m]."""
    return min(visit.edge_low - visit.edge, 0.0) * MM, max(visit.edge_high - visit.edge, 0.0) * MM


def _speed_at(track: Track, row: int) -> float:
    """Speed inwards around a row, over three rows either way, never below 0 [mm/s]."""
    low, high = max(0, row - 3), min(len(track) - 1, row + 3)
    fall = float(track.height[low] - track.height[high])
    return max(0.0, fall / max(float(track.time_s[high] - track.time_s[low]), 1e-9))


def _rest_duty(track: Track, duty: Floats) -> float:
    """Command with which the lift stands: the median over all rest in the log."""
    still = (np.abs(track.speed) <= track.still) & np.isfinite(duty)
    return float(np.median(duty[still])) if still.any() else 0.0


def _changed_s(time: Floats, duty: Floats, approach: float, rest: float) -> float:
    """First row after the trip at which the command has changed [s]; inf if it never did."""
    later = np.flatnonzero((_stopping_share(duty, approach, rest) >= CHANGED_SHARE) & (time >= -1e-9))
    return float(time[later[0]]) if len(later) else float("inf")


def _begun_s(time: Floats, duty: Floats, approach: float, rest: float) -> float:
    """Last row before the change at which the command was still the approach's, from the trip on [s]."""
    changed_s = _changed_s(time, duty, approach, rest)
    still = (_stopping_share(duty, approach, rest) < BEGUN_SHARE) & (time < changed_s)
    if np.isinf(changed_s) or not still.any():
        return changed_s
    return max(0.0, float(time[np.flatnonzero(still)[-1]]))


def _stopping_share(duty: Floats, approach: float, rest: float) -> Floats:
    """How far each command is from the approach's to the one at rest (n,); 0 where these are the same."""
    if abs(rest - approach) < NO_APPROACH:
        return np.zeros(len(duty))
    share: Floats = (duty - approach) / (rest - approach)
    return share
