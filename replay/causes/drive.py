"""Causes in the drive: signs, motors that fight, and a carriage that hangs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from replay.causes.case import GOOD, PLAIN, SURE, Case
from replay.causes.timing import ALIKE
from replay.diagnosis import Cause
from replay.facts import Facts
from replay.track import filled, held, sign_agreement
from replay.units import Role

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: Signs agree or disagree plainly beyond this mean agreement.
SIGN = 0.25
#: Motors that fight draw this many times the current of before.
OPPOSED_TIMES = 2.5
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
    if bad is None or track.current is None or len(facts.before) < 2 or facts.speed_ratio > ALIKE:
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
