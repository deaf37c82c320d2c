"""A zero that was set while the lift still moved."""

from __future__ import annotations

import math

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, Case
from replay.diagnosis import Cause, Visit
from replay.facts import Facts

#: Set while moving: faster than this share of the approach speed, and than four times standstill.
MOVING_SHARE, MOVING_STILL = 0.2, 4.0
#: A zero belongs to the reading when it comes within this many rows of it.
ZERO_ROWS = 3
#: A lift that was zeroed at speed comes to rest at least this far below zero [mm].
REST_BELOW_MM = 3.0


def zero_while_moving(facts: Facts) -> Case:
    """The count was set to zero at speed: what follows is counted from a place that was not reached yet."""
    case = Case(Cause.ZERO_WHILE_MOVING, test="log speed and reading with every zero")
    track, visits = facts.track, facts.visits.visits
    moving = [
        (each, one)
        for each in visits
        for one in track.sets
        if each.at - 1 <= one.index <= max(each.stand, each.at) and one.made
        if abs(one.speed) > max(MOVING_SHARE * each.approach_speed, MOVING_STILL * track.still)
    ]
    upto = len(visits) if facts.bad is None else facts.bad.number
    moving = [pair for pair in moving if pair[0].number <= upto]
    if not moving:
        return _landed_on_zero(facts, case)
    # a routine that always zeroes at creep does so without harm; the fast one is the one that counts
    visit, one = max(moving, key=lambda pair: abs(pair[1].speed))
    case.at(one.index, one.index)
    case.speaks_for(
        PLAIN,
        f"{facts.rows(one.index)}: the count was set (by {abs(one.jump):.1f} mm) at "
        f"{abs(one.speed):.0f} mm/s",
    )
    last = max(visit.stand, one.index)
    rest = float(track.height[one.index] - np.min(track.height[one.index : last + 1]))
    case.contribution = rest
    if rest > max(3.0, 0.2 * facts.limit):
        case.speaks_for(GOOD, f"after it the lift went on by {rest:.1f} mm, which is now below zero")
    else:
        case.speaks_against(PLAIN, f"after it the lift went on by {rest:.1f} mm only")
    if facts.bad is not None and visit.number != facts.bad.number:
        case.speaks_against(GOOD, f"that was visit {visit.number}, before the bad one")
    at_rest = [z for z in track.sets if z.made and abs(z.speed) <= MOVING_STILL * track.still]
    if at_rest:
        case.speaks_for(HINT, f"{len(at_rest)} other zeros were set at rest")
    return case


def _landed_on_zero(facts: Facts, case: Case) -> Case:
    """The count reads 0 as the reading comes at speed, where other visits set it at rest, and this one not.

    A zero that moves the count by less than one row of motion is no jump in the log. What remains is the
    coincidence that a row falls on 0, one in as many counts as a row of motion has, and the missing zero.
    """
    bad, track = facts.bad, facts.track
    none = "the count was never set while the lift moved in an arrival"
    if bad is None or bad.seen is None or bad.approach_speed < MOVING_STILL * track.still:
        return case.absent(none)
    rows = [i for i in range(bad.seen, min(bad.seen + ZERO_ROWS, bad.stand)) if track.log.counts[i] == 0]
    at_rest = [each for each in facts.visits.visits if _zeroed_at_rest(facts, each)]
    if not rows or len(at_rest) < 2 or bad in at_rest:
        return case.absent(none)
    row = rows[0]
    # a slow lift passes every count: that one row reads 0 is no coincidence then
    chance = math.log(max(abs(bad.approach_speed) * float(track.step_s[row]) / track.quantum, 1.0))
    if chance < HINT:
        return case.absent(none)
    case.at(row, row)
    case.speaks_for(
        min(PLAIN, chance),
        f"{facts.rows(row)}: the count reads 0 as the reading comes, at {bad.approach_speed:.0f} mm/s",
    )
    rest = float(track.height[row] - track.height[bad.stand])
    case.contribution = max(0.0, rest)
    if rest > REST_BELOW_MM:
        case.speaks_for(HINT, f"after it the lift went on by {rest:.1f} mm, which is now below zero")
    case.speaks_for(
        HINT, f"{len(at_rest)} other visits set it to zero at rest; this one rests with no zero set"
    )
    return case


def _zeroed_at_rest(facts: Facts, visit: Visit) -> bool:
    """The count was set to 0 at rest, or rests on 0: a zero that repeats the one before moves no count."""
    track = facts.track
    zeroed = any(
        visit.at <= one.index <= visit.end
        and abs(one.landed) <= track.quantum
        and abs(one.speed) <= MOVING_STILL * track.still
        for one in track.sets
    )
    rows = slice(visit.stand, visit.end + 1)
    raw = track.log.counts[rows][np.abs(track.speed[rows]) <= track.still]
    near = len(raw) > 0 and abs(float(np.median(raw))) * track.scale <= REST_BELOW_MM
    return zeroed or (near and bool(np.any(raw == 0)))
