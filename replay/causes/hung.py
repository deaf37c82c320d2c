"""A carriage that hung on its way, and a jam that was taken for the stop."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.diagnosis import Cause, Visit
from replay.facts import Facts

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: The edge came late by slack when it is this much deeper than before [mm] and later comes back.
HUNG_MM = 6.0
#: A reading was late for a carriage that hung when it came this much deeper [mm].
LATE_MM = 4.0
#: The load is gone when this share of what holds the lift at rest is missing.
LOST_LOAD = 0.4
#: and for at least this long [s].
LOST_S = 0.1
#: A current is smoothed over so many rows.
SMOOTH_ROWS = 5
#: A load is compared at speeds up to this many times the fastest of the visits that it is compared with.
SEEN_SPEED = 1.3
#: The load of a way in is looked at from this long after its start [s].
START_S = 0.4
#: It has set off when it moves at this share of the speed with which it arrives.
SET_OFF_SHARE = 0.2


def sticky_travel(facts: Facts) -> Case:
    """The carriage hung on the way and the string went slack, or a jam was taken for the stop."""
    case = Case(Cause.STICKY_TRAVEL, test="let it down by hand over the whole travel and feel for the place")
    bad = facts.bad
    _hung(facts, case)
    _jammed(facts, case)
    if not case.for_:
        return case.absent("no place on the way where it hung")
    case.contribution = bad.overtravel if bad else None
    return case


def _hung(facts: Facts, case: Case) -> None:
    """The load left the spool above the trip, and the reading came too deep in counts or not at all."""
    bad, track = facts.bad, facts.track
    if bad is None or facts.loop_was_late or any(run.last >= bad.at for run in track.frozen if run.caught_up):
        return
    late = HUNG_MM + 1 if bad.seen is None else bad.edge - float(track.height[max(bad.seen - 1, 0)])
    if late < LATE_MM:
        return
    case.at(bad.at, bad.stand if bad.seen is None else bad.seen)
    _unloaded(facts, case)
    if bad.seen is not None and facts.before:
        case.speaks_for(
            HINT, f"{facts.rows(bad.seen)}: the reading came {late:.0f} mm deeper than in visits before"
        )
    back = [each for each in facts.later if each.edge_read and abs(each.read_edge - bad.edge) < HUNG_MM]
    if back and case.for_:
        case.speaks_for(
            HINT, f"in visit {back[0].number} it is back at the old height: nothing moved for good"
        )
    elif facts.later and case.for_:
        stays = [
            each
            for each in facts.later
            if each.edge_read and bad.edge_read and abs(each.read_edge - bad.read_edge) < HUNG_MM
        ]
        case.speaks_against(
            SURE if len(stays) > 1 else GOOD, "it does not come back to the old height: the sensor moved"
        )


def _unloaded(facts: Facts, case: Case) -> None:
    """Whether the drive lost its load on the way in, well above the trip."""
    bad, track = facts.bad, facts.track
    assert bad is not None
    load, lost = _carried(facts)
    if load is None:
        return
    others = [_way_in(facts, each) for each in (*facts.before, *facts.later)]
    like = np.concatenate(others) if others else np.empty(0, dtype=np.int64)
    if len(like) < 8:
        return
    least = float(np.percentile(load[like], 3)) - lost
    # what the drive carries is known at speeds at which it was seen
    known = SEEN_SPEED * float(np.max(np.abs(track.speed[like])))
    rows = _way_in(facts, bad)
    rows = rows[np.abs(track.speed[rows]) <= known]
    above = rows[(load[rows] < least) & (track.height[rows] > bad.edge + HUNG_MM)]
    if len(above) * track.period_s >= LOST_S:
        first = int(above[0])
        case.at(first, bad.at)
        case.speaks_for(
            PLAIN,
            f"{facts.rows(first)}: {track.height[first] - bad.edge:.0f} mm above the trip the drive loses "
            "its load: the carriage hangs and the string goes slack",
        )
    else:
        case.speaks_against(GOOD, "the drive carries its load down to the trip")


def _carried(facts: Facts) -> tuple[Floats | None, float]:
    """What the drive carries at each row, and how much less is a lost load; without a command its current."""
    if facts.load is not None:
        return facts.load, max(LOST_LOAD * abs(facts.visits.hold), 0.02)
    current = facts.track.current
    if current is None:
        return None, 0.0
    smooth: Floats = np.convolve(np.abs(current), np.ones(SMOOTH_ROWS) / SMOOTH_ROWS, mode="same")
    still = np.abs(facts.track.speed) <= facts.track.still
    return smooth, LOST_LOAD * float(np.median(smooth[still])) if still.any() else 0.0


def _way_in(facts: Facts, visit: Visit) -> Ints:
    """Rows of the way in, without its start: there the drive accelerates."""
    track = facts.track
    moving = track.speed[visit.start : visit.at] < -max(4 * track.still, SET_OFF_SHARE * visit.approach_speed)
    set_off = visit.start + (int(np.argmax(moving)) if moving.any() else 0)
    start = track.after(set_off, START_S)
    return np.arange(start, max(visit.at, start))


def _jammed(facts: Facts, case: Case) -> None:
    """Standing far above the trip with an inward command and a high current."""
    track = facts.track
    if track.command is None:
        return
    over = track.height - facts.trip_of_row
    hold = facts.visits.hold
    upto = len(track) if facts.bad is None else facts.bad.at + 1
    stuck = (
        (np.abs(track.speed) <= 2 * track.still) & (over > 25.0) & (track.command < min(-0.05, hold - 0.1))
    )
    stuck[upto:] = False
    change = np.diff(np.concatenate([[False], stuck, [False]]).astype(np.int8))
    firsts, lasts = np.flatnonzero(change == 1), np.flatnonzero(change == -1) - 1
    if len(firsts) == 0:
        return
    k = int(np.argmax(lasts - firsts))
    first, last = int(firsts[k]), int(lasts[k])
    length = float(track.time_s[last] - track.time_s[first])
    if length < 0.15:
        return
    case.at(first, last)
    case.speaks_for(
        PLAIN,
        f"{facts.rows(first, last)}: driven inwards for {length:.2f} s without moving, "
        f"{over[first]:.0f} mm up",
    )
    zeroed = [one for one in track.sets if first <= one.index <= last + round(0.5 / track.period_s)]
    if zeroed:
        case.speaks_for(GOOD, f"{facts.rows(zeroed[0].index)}: the count was zeroed there, as if on the stop")
