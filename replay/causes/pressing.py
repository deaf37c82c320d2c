"""The drive kept pushing on the stop."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, Case
from replay.diagnosis import Cause, Visit
from replay.facts import Facts
from replay.units import Role
from replay.visits import OFF

#: A lift pushed on for this long [s] after it stood was not stopped.
PUSHED_S = 0.25
#: The command that stops it is taken over so many rows; it has fallen again when it is this share of the way
#: back to the approach's; and that matters when it makes this share of the overtravel.
STOP_ROWS, FALLEN_SHARE, LET_DOWN_SHARE = 3, 0.3, 0.4


def pressing_on_stop(facts: Facts) -> Case:
    """The lift stands on its stop and is driven on."""
    case = Case(Cause.PRESSING_ON_STOP, test="log the target, and clear the integrator at the bottom")
    track = facts.track
    if track.command is None:
        return case.absent("no command in the log")
    resumed = _resumed(facts, case) or _let_down(facts, case)
    best: tuple[float, int, int, Visit] | None = None
    for visit in facts.visits.visits:
        if facts.bad is not None and visit.number > facts.bad.number:
            break
        first, last = _pushed(facts, visit)
        length = float(track.time_s[last] - track.time_s[first]) if last > first else 0.0
        if best is None or length > best[0]:
            best = (length, first, last, visit)
    if resumed and (best is None or best[0] < PUSHED_S):
        return case
    if best is None or best[0] < PUSHED_S:
        return case.absent("the command never stayed inwards while the lift stood at the bottom")
    length, first, last, visit = best
    case.at(first, last)
    if (
        visit.seen is not None
        and first > visit.seen
        and bool(track.made[visit.seen : first].all() if track.made is not None else False)
    ):
        case.speaks_for(GOOD, f"the reading had been made since {facts.rows(visit.seen)}")
    case.contribution = 0.0 if facts.bad is None else facts.bad.overtravel
    case.speaks_for(GOOD, f"{facts.rows(first, last)}: driven inwards for {length:.1f} s while it stood")
    _pushed_harder(facts, case, first, last)
    if track.made is not None and not bool(np.any(track.made[max(visit.at - 2, 0) : last + 1])):
        case.speaks_against(PLAIN, "the reading was not made: it was still looking for the sensor")
    if facts.has(Role.TARGET):
        target = float(np.nanmedian(facts.track.log[Role.TARGET][first : last + 1])) * track.scale
        counted = float(np.nanmin(facts.track.log.counts[first : last + 1])) * track.scale
        if target < counted - 3.0:
            case.speaks_for(PLAIN, f"the target lies {counted - target:.0f} mm below where it stands")
    return case


def _resumed(facts: Facts, case: Case) -> bool:
    """The command went inwards again after it had stopped the lift on its reading."""
    bad, track = facts.bad, facts.track
    if bad is None or bad.seen is None or np.isnan(bad.command_delay_s) or track.made is None:
        return False
    change = track.after(bad.seen, bad.command_delay_s + 1e-9)
    rows = np.array([facts.inward(i) and bool(track.made[i]) for i in range(change, bad.end + 1)])
    going_out = np.flatnonzero(track.speed[change : bad.end + 1] > 5 * track.still)
    if len(going_out):
        rows[going_out[0] :] = False
    again = np.flatnonzero(rows) + change
    length = float(np.sum(track.step_s[again])) if len(again) else 0.0
    if length < PUSHED_S:
        return False
    case.at(int(again[0]), int(again[-1]))
    case.contribution = float(
        max(0.0, track.height[again[0]] - np.min(track.height[again[0] : again[-1] + 1]))
    )
    case.speaks_for(
        PLAIN,
        f"{facts.rows(int(again[0]), int(again[-1]))}: after it had stopped on its reading, the command goes "
        f"inwards again for {length:.1f} s with the reading made",
    )
    if case.contribution > 0.3 * bad.deepest:
        case.speaks_for(GOOD, f"that winds out {case.contribution:.0f} mm more")
    return True


def _let_down(facts: Facts, case: Case) -> bool:
    """After the stop the command fell again, if not as far as on the way in, and the lift went on in."""
    bad, track = facts.bad, facts.track
    if bad is None or bad.seen is None or np.isnan(bad.command_delay_s) or track.command is None:
        return False
    change = track.after(bad.seen, bad.command_delay_s + 1e-9)
    stop = float(np.median(track.command[change : change + STOP_ROWS]))
    fallen = stop - FALLEN_SHARE * (stop - facts.approach_command)
    if stop <= facts.approach_command or stop <= OFF:
        return False
    rows = np.arange(change + STOP_ROWS, bad.stand + 1)
    low = rows[(track.command[rows] < fallen) & (track.command[rows] != 0.0)]
    if len(low) == 0 or float(np.sum(track.step_s[low])) < PUSHED_S:
        return False
    first, last = int(low[0]), int(low[-1])
    way = float(track.height[first] - track.height[last])
    if way < LET_DOWN_SHARE * bad.overtravel:
        return False
    case.at(first, last)
    case.contribution = way
    case.speaks_for(
        PLAIN,
        f"{facts.rows(first, last)}: after it had stopped on its reading, the command falls from "
        f"{stop:.0%} to {np.min(track.command[low]):.0%} and the lift goes {way:.0f} mm on inwards",
    )
    return True


def _pushed(facts: Facts, visit: Visit) -> tuple[int, int]:
    """Longest run of rows at which this visit's lift stood or crept with an inward command."""
    track = facts.track
    assert track.command is not None
    hold = facts.visits.hold
    before = float(np.median(track.command[max(0, visit.at - 4) : max(visit.at, 1)]))
    bound = min(-0.02, min(0.0, hold) - 0.15 * abs(hold - before))
    rows = np.arange(visit.at, visit.end + 1)
    slow = np.abs(track.speed[rows]) <= max(3 * track.still, 0.06 * visit.approach_speed)
    pushed = np.concatenate([[False], slow & (track.command[rows] < bound), [False]])
    change = np.diff(pushed.astype(np.int8))
    firsts, lasts = np.flatnonzero(change == 1), np.flatnonzero(change == -1) - 1
    if len(firsts) == 0:
        return visit.at, visit.at
    k = int(np.argmax(lasts - firsts))
    return visit.at + int(firsts[k]), visit.at + int(lasts[k])


def _pushed_harder(facts: Facts, case: Case, first: int, last: int) -> None:
    track = facts.track
    assert track.command is not None
    third = max(1, (last - first) // 3)
    early, late = track.command[first : first + third], track.command[last - third + 1 : last + 1]
    grows = float(np.median(early) - np.median(late))
    if grows > 0.05:
        case.speaks_for(GOOD, f"the command grows by {grows:.0%} of full scale while nothing moves")
    if track.current is not None:
        still = np.abs(track.speed) <= track.still
        usual = float(np.median(track.current[still]))
        high = float(np.max(track.current[first : last + 1]))
        if high > 2 * max(usual, 0.2):
            case.speaks_for(GOOD, f"the current reaches {high:.1f} A; at rest it is {usual:.1f} A")
        else:
            case.speaks_against(HINT, f"the current stays at {high:.1f} A, as at rest")
