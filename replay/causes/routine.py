"""Causes in what the program did: margins, zeros, limits not looked at, wrong starts."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.timing import FAST
from replay.diagnosis import Cause, Visit
from replay.facts import Facts
from replay.units import Role
from replay.visits import APPROACH_S, OFF

#: A command that stays inwards this long after the made reading was not given by a check of it [s, loops].
UNCHECKED_S, UNCHECKED_LOOPS = 0.06, 3.0
#: A lift that is still driven keeps its speed within this share; own choice, twice what creeps vary by.
KEPT_SPEED = 0.12
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


def limit_not_checked(facts: Facts) -> Case:
    """Reading made, rows logged, and the command kept driving inwards."""
    case = Case(Cause.LIMIT_NOT_CHECKED, test="put the limit last, below every state, and log the state")
    bad, track, descent = facts.bad, facts.track, facts.descent
    if bad is not None and bad.seen is not None and track.command is None:
        return _by_motion(facts, case, bad)
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


def _by_motion(facts: Facts, case: Case, bad: Visit) -> Case:
    """Without the command, the motion alone: driven on at the speed of the approach."""
    assert bad.seen is not None
    if not went_on_driven(facts):
        return case.absent("no command in the log, and the lift slows down or runs off after the reading")
    case.at(bad.seen, bad.stand)
    case.contribution = bad.run_on
    case.speaks_for(
        GOOD,
        f"{facts.rows(bad.seen, bad.stand)}: after the reading it goes on at the speed of its approach, "
        f"{bad.approach_speed:.0f} mm/s",
    )
    if [each for each in facts.good if each.seen is not None and each.run_on < bad.run_on / 2]:
        case.speaks_for(GOOD, "visits within the limit slowed down with the reading")
    _state_differs(facts, case, bad)
    return case


def went_on_driven(facts: Facts) -> bool:
    """After the reading the lift went on for a good while at the speed of its approach, no slower, no faster.

    A free spool gathers speed, a braked one loses it; only a drive that is still commanded keeps it.
    """
    bad, track = facts.bad, facts.track
    if bad is None or bad.seen is None or bad.approach_speed < 2 * track.still:
        return False
    early = track.after(bad.seen, 2 * max(UNCHECKED_S, UNCHECKED_LOOPS * track.period_s))
    # up to the stop, less the row or two in which it meets it
    return all(_kept(facts, bad, last) for last in (early, max(bad.stand - 2, early)))


def _kept(facts: Facts, bad: Visit, last: int) -> bool:
    """The speed from the reading to row ``last`` is that of the approach."""
    track, seen = facts.track, bad.seen
    assert seen is not None
    time_s = max(float(track.time_s[last] - track.time_s[seen]), 1e-9)
    speed = float(track.height[seen] - track.height[last]) / time_s
    # both are known to a count over the time in which they were taken
    doubt = track.quantum * (1 / time_s + 1 / APPROACH_S)
    return abs(speed - bad.approach_speed) <= KEPT_SPEED * bad.approach_speed + doubt


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
