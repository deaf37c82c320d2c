"""Causes in the drive: signs, motors that fight, and a carriage that hangs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.diagnosis import Cause, Visit
from replay.facts import Facts
from replay.track import filled, held, sign_agreement
from replay.units import Role

Ints = NDArray[np.int64]

#: Signs agree or disagree plainly beyond this mean agreement.
SIGN = 0.25
#: The edge came late by slack when it is this much deeper than before [mm] and later comes back.
HUNG_MM = 6.0
#: Motors that fight draw this many times the current of before.
OPPOSED_TIMES = 2.5
#: The load is gone when this share of what holds the lift at rest is missing.
LOST_LOAD = 0.4
#: and for at least this long [s].
LOST_S = 0.1
#: The load of a way in is looked at from this long after its start [s].
START_S = 0.4
#: Two shafts of one spool agree within this share of the way.
TWIST_SHARE = 0.03


def drive_sign(facts: Facts) -> Case:
    """Command and motion have opposite signs."""
    case = Case(Cause.DRIVE_SIGN, test="give 5 % outwards by hand and watch which way the count goes")
    track = facts.track
    if track.command is None:
        return case.absent("no command in the log")
    speed = -track.speed if track.turned else track.speed
    agreement = sign_agreement(speed, track.command)
    case.at(0, len(track) - 1)
    if agreement > -SIGN:
        return case.absent(f"command and motion agree in sign ({agreement:+.2f})")
    first = int(np.argmax(np.abs(track.speed) > min(4 * track.still, float(np.max(np.abs(track.speed))) / 2)))
    case.at(first, len(track) - 1)
    case.speaks_for(
        SURE,
        f"command and count have opposite signs from {facts.rows(first)} on (agreement {agreement:+.2f})",
    )
    case.contribution = facts.bad.overtravel if facts.bad else None
    return case


def motors_opposed(facts: Facts) -> Case:
    """Two motors work against each other."""
    case = Case(Cause.MOTORS_OPPOSED, test="log both currents with their signs; run each motor alone")
    track, log = facts.track, facts.track.log
    if Role.COUNTS_2 not in log and Role.CURRENT_2 not in log:
        return _one_motor(facts, case)
    if Role.COUNTS_2 in log:
        _twist(facts, case)
    if Role.CURRENT_2 in log and track.current is not None:
        one, two = track.current, held(log[Role.CURRENT_2])
        moving = np.abs(track.speed) > 4 * track.still
        both = float(np.median((np.abs(one) + np.abs(two))[moving])) if moving.any() else 0.0
        against = float(np.mean((one * two)[moving] < 0)) if moving.any() else 0.0
        if against > 0.5:
            case.speaks_for(
                PLAIN, f"the two currents have opposite signs in {against:.0%} of the moving rows"
            )
        else:
            _high_total(facts, case, both)
    if not case.for_:
        return case.absent("both motors turn alike and share the load")
    case.contribution = facts.bad.overtravel if facts.bad else None
    return case


def _twist(facts: Facts, case: Case) -> None:
    track = facts.track
    two = filled(track.log[Role.COUNTS_2]) * track.scale
    one = filled(track.log.counts) * track.scale
    # two encoders may have different scales; what is left beside the proportional part is twist
    slope, level = np.polyfit(one, two, 1)
    half = len(one) // 4
    moved = half > 1 and np.ptp(one[:half]) > 0.2 * np.ptp(one)
    early = np.polyfit(one[:half], two[:half], 1) if moved else (slope, level)
    apart = two - early[0] * one - early[1]
    way = float(np.ptp(one))
    growth = float(np.percentile(np.abs(apart), 95))
    at = int(np.argmax(np.abs(apart)))
    case.at(max(0, at - 10), at)
    if growth > TWIST_SHARE * way:
        case.speaks_for(SURE, f"the two counts part by up to {growth:.0f} mm ({facts.rows(at)})")
    else:
        case.speaks_against(GOOD, f"the two counts stay within {growth:.1f} mm")


def _high_total(facts: Facts, case: Case, both: float) -> None:
    track = facts.track
    assert track.current is not None
    still = np.abs(track.speed) <= track.still
    rest = float(np.median(track.current[still])) if still.any() else 0.0
    if both > 6 * max(rest, 0.3):
        case.speaks_for(GOOD, f"together they draw {both:.1f} A in motion, one {rest:.1f} A at rest")


def _one_motor(facts: Facts, case: Case) -> Case:
    """One current column only: the same motion draws far more than in the visits before."""
    bad, track = facts.bad, facts.track
    if bad is None or track.current is None or len(facts.before) < 2:
        return case.absent("no second motor in the log")
    since = facts.before[-1].stand
    moving = np.abs(track.speed) > 4 * track.still
    now, then = moving.copy(), moving.copy()
    now[:since], now[bad.at :], then[since:] = False, False, False
    if now.sum() < 10 or then.sum() < 10:
        return case.absent("no second motor in the log")
    here, usual = float(np.median(track.current[now])), float(np.median(track.current[then]))
    if here < OPPOSED_TIMES * max(usual, 0.2):
        return case.absent(
            f"no second motor in the log, and {here:.1f} A in motion as before ({usual:.1f} A)"
        )
    case.at(since, bad.at)
    case.contribution = bad.overtravel
    return case.speaks_for(
        GOOD, f"{facts.rows(since, bad.at)}: motion draws {here:.1f} A, in the visits before {usual:.1f} A"
    )


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
    if late < HUNG_MM:
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
    bad, track, load = facts.bad, facts.track, facts.load
    assert bad is not None
    if load is None:
        return
    others = [load[_way_in(facts, each)] for each in (*facts.before, *facts.later)]
    usual = np.concatenate(others) if others else np.empty(0)
    if len(usual) < 8:
        return
    least = float(np.percentile(usual, 3)) - max(LOST_LOAD * abs(facts.visits.hold), 0.02)
    rows = _way_in(facts, bad)
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


def _way_in(facts: Facts, visit: Visit) -> Ints:
    """Rows of the way in, without its start: there the drive accelerates."""
    track = facts.track
    start = track.after(visit.start, START_S)
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
