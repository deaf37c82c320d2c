"""Causes in what the program did: margins, zeros, limits not looked at, wrong starts."""

from __future__ import annotations

import math

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.timing import FAST
from replay.diagnosis import Cause, Visit
from replay.facts import Facts
from replay.units import Role
from replay.visits import OFF

#: A command that stays inwards this long after the made reading was not given by a check of it [s, loops].
UNCHECKED_S, UNCHECKED_LOOPS = 0.06, 3.0
#: Set while moving: faster than this share of the approach speed, and than four times standstill.
MOVING_SHARE, MOVING_STILL = 0.2, 4.0
#: A zero belongs to the reading when it comes within this many rows of it.
ZERO_ROWS = 3
#: A lift that was zeroed at speed comes to rest at least this far below zero [mm].
REST_BELOW_MM = 3.0
#: A stop is as long as its neighbours' when, brought to the same speed, it is within this factor.
STOP_FACTOR = 1.7


def short_margin(facts: Facts) -> Case:
    """Everything was done in time, and the way to stop was still too long."""
    case = Case(Cause.SHORT_MARGIN, test="ten arrivals each at half and at full speed: overtravel over speed")
    bad = facts.bad
    if bad is None:
        return case.absent("no visit went past the limit")
    if bad.seen is None:
        return case.absent("the trip was not read at all; a short margin needs a reading in time")
    case.at(bad.at, bad.stand)
    case.contribution = bad.overtravel
    if facts.prompt:
        case.speaks_for(HINT, f"{facts.rows(bad.seen)}: the reading came with the trip")
    elif not facts.loop_was_late:
        case.speaks_against(PLAIN, f"the reading came {facts.late_s * 1e3:.0f} ms after the trip was passed")
    if facts.loop_was_late:
        case.speaks_against(GOOD, f"a loop of {facts.late_step[1] * 1e3:.0f} ms lay across the trip")
    _command_prompt(facts, case, bad)
    if facts.speed_ratio >= FAST:
        case.speaks_for(
            GOOD,
            f"it came in at {bad.approach_speed:.0f} mm/s; visits within the limit did at "
            f"{facts.usual_speed:.0f} mm/s",
        )
    elif facts.good:
        case.speaks_against(
            GOOD, f"visits at the same speed ({facts.usual_speed:.0f} mm/s) stopped within the limit"
        )
    else:
        case.speaks_for(HINT, "no visit in this log stopped within the limit")
    return case


def _command_prompt(facts: Facts, case: Case, bad: Visit) -> None:
    delay = bad.command_delay_s
    if np.isnan(delay):
        return
    if delay <= 1.6 * facts.track.period_s + 0.005:
        case.speaks_for(HINT, f"the command changed {delay * 1e3:.0f} ms after the reading")
    else:
        case.speaks_against(GOOD, f"the command changed only {delay * 1e3:.0f} ms after the reading")


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
    rest = max(0.0, one.landed - float(track.height[visit.stand] + one.landed - track.height[one.index]))
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
    way = abs(bad.approach_speed) * float(track.step_s[row])
    case.at(row, row)
    case.speaks_for(
        min(PLAIN, math.log(max(way / track.quantum, 1.0))),
        f"{facts.rows(row)}: the count reads 0 as the reading comes, at {bad.approach_speed:.0f} mm/s",
    )
    rest = float(track.height[row] - track.height[bad.stand])
    case.contribution = max(0.0, rest)
    if rest > REST_BELOW_MM:
        case.speaks_for(GOOD, f"after it the lift went on by {rest:.1f} mm, which is now below zero")
    case.speaks_for(
        GOOD, f"{len(at_rest)} other visits set it to zero at rest; this one rests with no zero set"
    )
    return case


def _zeroed_at_rest(facts: Facts, visit: Visit) -> bool:
    track = facts.track
    return any(
        visit.at <= one.index <= visit.end
        and abs(one.landed) <= track.quantum
        and abs(one.speed) <= MOVING_STILL * track.still
        for one in track.sets
    )


def limit_not_checked(facts: Facts) -> Case:
    """Reading made, rows logged, and the command kept driving inwards."""
    case = Case(Cause.LIMIT_NOT_CHECKED, test="put the limit last, below every state, and log the state")
    bad, track, descent = facts.bad, facts.track, facts.descent
    if bad is None or track.command is None or track.made is None or descent is None:
        return case.absent("no command or reading in the log" if bad else "no visit went past the limit")
    if bad.seen is None:
        return case.absent("the reading was never made in this visit")
    held = 0.0
    last = bad.seen
    for i in range(bad.seen, min(bad.end, len(track) - 1)):
        if not (track.made[i] and facts.inward(i)):
            break
        held = float(track.time_s[i + 1] - track.time_s[bad.seen])
        last = i
    case.at(bad.seen, last)
    enough = max(UNCHECKED_S, UNCHECKED_LOOPS * track.period_s)
    if held < enough:
        return case.absent(
            f"{facts.rows(bad.seen, last)}: the command left inwards {held * 1e3:.0f} ms after the reading"
        )
    kept = abs(float(np.median(track.command[bad.seen : last + 1])) - facts.approach_command)
    if kept > 0.25 * abs(facts.approach_command) + 0.02:
        case.speaks_against(HINT, "the command is another one than on the way in")
    off = np.abs(track.command[bad.seen : last + 1]) < OFF
    if bool(np.all(off)) and not bool(np.all(np.abs(track.command[max(0, bad.seen - 4) : bad.seen]) < OFF)):
        case.speaks_against(SURE, "the command was switched off with the reading: it was looked at")
    case.contribution = float(track.height[bad.seen] - np.min(track.height[bad.seen : last + 2]))
    case.speaks_for(
        PLAIN,
        f"{facts.rows(bad.seen, last)}: made for {held * 1e3:.0f} ms, {last - bad.seen + 1} rows, with the "
        f"command still inwards; the lift went {case.contribution:.0f} mm on",
    )
    if case.contribution > 0.3 * bad.overtravel:
        case.speaks_for(GOOD, "that is most of the way past the trip")
    _state_differs(facts, case, bad)
    return case


def _state_differs(facts: Facts, case: Case, bad: Visit) -> None:
    if not facts.has(Role.STATE):
        return
    state = facts.track.log[Role.STATE]
    assert bad.seen is not None
    here = str(state[bad.seen])
    usual = {str(state[each.seen - 1]) for each in facts.good if each.seen}
    after = {str(state[each.seen]) for each in facts.good if each.seen}
    if usual and here not in usual | after:
        case.speaks_for(GOOD, f'the state was "{here}"; visits that stopped were in {sorted(usual)}')
    elif here in after and usual:
        case.speaks_against(HINT, f'the state changed to "{here}" as in visits that stopped')


def unknown_start(facts: Facts) -> Case:
    """The first way in began from an assumed height that was wrong."""
    case = Case(Cause.UNKNOWN_START, test="home before the first move, or log the height it assumes")
    bad = facts.bad
    if bad is None:
        return case.absent("no visit went past the limit")
    if bad.number != 1:
        return case.absent("the sensor had been passed before this visit, so the height was known")
    case.at(bad.start, bad.at)
    case.contribution = bad.overtravel
    case.speaks_for(HINT, "it is the first arrival in the log")
    slower = [each for each in facts.later if each.approach_speed * FAST < bad.approach_speed]
    if slower and len(slower) >= 0.6 * len(facts.later):
        usual = float(np.median([each.approach_speed for each in slower]))
        case.speaks_for(
            PLAIN,
            f"it came in at {bad.approach_speed:.0f} mm/s; once zeroed, {len(slower)} visits slowed down to "
            f"{usual:.0f} mm/s first",
        )
    elif facts.later:
        case.speaks_against(PLAIN, "later visits came in as fast, although the height was known by then")
    zeros = [one for one in facts.track.sets if bad.at - 1 <= one.index <= bad.end]
    if zeros and abs(zeros[0].jump) > max(10.0, bad.overtravel):
        case.speaks_for(
            GOOD, f"{facts.rows(zeros[0].index)}: the zero then corrected {abs(zeros[0].jump):.0f} mm"
        )
    return case
