"""Causes in the drive: signs, motors that fight, and a carriage that hangs."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.diagnosis import Cause
from replay.facts import Facts
from replay.track import filled, held, sign_agreement
from replay.units import Role

#: Signs agree or disagree plainly beyond this mean agreement.
SIGN = 0.4
#: The edge came late by slack when it is this much deeper than before [mm] and later comes back.
HUNG_MM = 6.0
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
    first = int(np.flatnonzero(np.abs(track.speed) > 4 * track.still)[0])
    case.at(first, len(track) - 1)
    case.speaks_for(
        SURE, f"command and count have opposite signs from {facts.rows(first)} on (agreement {agreement:+.2f})"
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
            case.speaks_for(PLAIN, f"the two currents have opposite signs in {against:.0%} of the moving rows")
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
    early = np.polyfit(one[:half], two[:half], 1) if np.ptp(one[:half]) > 0.2 * np.ptp(one) else (slope, level)
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
    """Without a second column: a high current at a low speed, away from the stop, with rising loss."""
    return case.absent("no second motor in the log")


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
    """The edge of this visit alone came deeper in counts than before and after."""
    bad, track = facts.bad, facts.track
    if bad is None or bad.seen is None or not facts.before:
        return
    usual = float(np.median([each.edge for each in facts.before[-3:]]))
    high = float(track.height[max(bad.seen - 1, 0)])
    late = usual - high
    if late < HUNG_MM or facts.loop_was_late or any(run.last >= bad.at for run in track.frozen):
        return
    case.at(bad.at, bad.seen)
    case.speaks_for(HINT, f"{facts.rows(bad.seen)}: the reading came {late:.0f} mm deeper than in visits before")
    back = [each for each in facts.later if each.made and abs(each.edge - usual) < HUNG_MM]
    if back:
        case.speaks_for(HINT, f"in visit {back[0].number} it is back at the old height: nothing moved for good")
    elif facts.later:
        case.speaks_against(GOOD, "it does not come back to the old height")
    if track.current is not None:
        _unloaded(facts, case)


def _unloaded(facts: Facts, case: Case) -> None:
    """The load leaves the spool somewhere on the way in, before the trip."""
    bad, track = facts.bad, facts.track
    assert bad is not None and track.current is not None
    way = slice(bad.start, bad.at)
    moving = np.flatnonzero(track.speed[way] < -4 * track.still) + bad.start
    if len(moving) < 12:
        return
    current = track.current[moving]
    third = len(moving) // 3
    early, late = float(np.median(current[third : 2 * third])), float(np.median(current[-third:]))
    if abs(late - early) > max(0.25 * early, 0.12):
        case.speaks_for(HINT, f"on the way in the current changes from {early:.2f} to {late:.2f} A")


def _jammed(facts: Facts, case: Case) -> None:
    """Standing far above the trip with an inward command and a high current."""
    track = facts.track
    if track.command is None:
        return
    over = track.height - facts.trip_of_row
    hold = facts.visits.hold
    upto = len(track) if facts.bad is None else facts.bad.at + 1
    stuck = (np.abs(track.speed) <= 2 * track.still) & (over > 25.0) & (track.command < min(-0.05, hold - 0.1))
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
        PLAIN, f"{facts.rows(first, last)}: driven inwards for {length:.2f} s without moving, {over[first]:.0f} mm up"
    )
    zeroed = [one for one in track.sets if first <= one.index <= last + round(0.5 / track.period_s)]
    if zeroed:
        case.speaks_for(GOOD, f"{facts.rows(zeroed[0].index)}: the count was zeroed there, as if on the stop")
