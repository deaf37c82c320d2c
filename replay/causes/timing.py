"""Causes in the time at which things were read: late loops, stale readings, missed edges."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.diagnosis import Cause, Visit
from replay.facts import Facts

#: A freeze or late reading this long or longer cannot be one period and a filter [periods].
LONG_PERIODS = 3.0
#: The approach counts as fast from this many times the usual speed on.
FAST = 1.5
#: Two speeds are alike within this factor.
ALIKE = 1.3


def late_loop(facts: Facts) -> Case:
    """A control loop ran long across the trip: a step in time, not repeated rows."""
    case = Case(Cause.LATE_LOOP, test="log the loop period, or a stamp from each part of the loop")
    bad, track = facts.bad, facts.track
    if bad is None:
        return case.absent("no visit went past the limit")
    index, step = facts.late_step
    median = track.period_s
    if not facts.loop_was_late:
        worst = f"the longest loop around the trip is {step * 1e3:.0f} ms at {facts.rows(index)}"
        return case.absent(f"{worst}, the median {median * 1e3:.0f} ms")
    case.at(index - 1, index)
    way = float(track.height[index - 1] - track.height[index])
    case.speaks_for(
        PLAIN,
        f"{facts.rows(index - 1, index)}: one loop took {step * 1e3:.0f} ms against a median of "
        f"{median * 1e3:.0f} ms, and the lift moved {way:.0f} mm in it",
    )
    case.contribution = facts.unread_way or min(bad.approach_speed * (step - median), bad.overtravel)
    if case.contribution > 0.4 * bad.overtravel:
        case.speaks_for(GOOD, f"it is worth {case.contribution:.0f} of the {bad.overtravel:.0f} mm")
    else:
        case.speaks_against(HINT, f"it is worth only {case.contribution:.0f} of {bad.overtravel:.0f} mm")
    if bad.seen is not None and bad.seen <= index + 1:
        case.speaks_for(HINT, f"the first row after it reads made ({facts.rows(bad.seen)})")
    normal = [each for each in facts.good if each.longest_step_s < 2 * median]
    if normal:
        case.speaks_for(
            HINT, f"{len(normal)} other visits with ordinary loops stopped within {facts.limit:g} mm"
        )
    return case


def stale_reading(facts: Facts) -> Case:
    """Reading or count repeated while the lift moved: the stamps go on, the values do not."""
    case = Case(Cause.STALE_READING, test="log the age of every reading, or clear the cache each loop")
    bad, track, descent = facts.bad, facts.track, facts.descent
    if bad is None or descent is None:
        return case.absent("no visit went past the limit")
    last = bad.stand if bad.seen is None else max(bad.stand, bad.seen)
    across = [run for run in track.frozen if run.first <= last and run.last >= bad.at - 1]
    caught = [run for run in across if run.caught_up]
    if caught:
        run = caught[0]
        case.at(run.first, run.last)
        length = float(track.time_s[run.last] - track.time_s[run.first])
        case.speaks_for(
            SURE,
            f"{facts.rows(run.first, run.last - 1)}: the count repeats for {length * 1e3:.0f} ms while the "
            f"stamps go on, then jumps by {abs(run.missing_mm):.0f} mm to where the motion had led",
        )
        case.contribution = facts.unread_way or min(bad.approach_speed * length, bad.overtravel)
        return case
    return _stale_sensor(facts, case)


def _stale_sensor(facts: Facts, case: Case) -> Case:
    """Only the reading was late; the count went on."""
    bad, track = facts.bad, facts.track
    assert bad is not None
    if bad.seen is None:
        return case.absent("the reading never came at all; a stale one comes late")
    if facts.prompt or facts.loop_was_late:
        return case.absent("counts and reading change in every row around the trip")
    late = facts.late_s
    if late < LONG_PERIODS * track.period_s or track.made is None:
        return case.absent(f"the reading came {late * 1e3:.0f} ms after the trip, within a few loops")
    case.at(bad.at, bad.seen)
    case.speaks_for(
        HINT,
        f"{facts.rows(bad.at, bad.seen)}: the reading came {late * 1e3:.0f} ms after the trip was passed",
    )
    case.contribution = facts.unread_way
    return case


def _just_seen(facts: Facts, visit: Visit) -> bool:
    """In this visit the reading was made in one row, and lapsed with the lift still going in."""
    made, track = facts.track.made, facts.track
    if made is None or visit.seen is None or visit.seen + 1 >= len(track):
        return False
    return not made[visit.seen + 1] and bool(track.speed[visit.seen + 1] < -track.still)


def missed_edge(facts: Facts) -> Case:
    """The window was shorter than one sampling period at this speed: no reading fell inside."""
    case = Case(Cause.MISSED_EDGE, test="pass the sensor slowly and fast ten times each and count readings")
    bad, track = facts.bad, facts.track
    if bad is None or track.made is None:
        return case.absent("no visit to judge, or no reading in the log")
    case.at(max(bad.at - 1, 0), bad.at)
    if bad.seen is not None and track.time_s[bad.seen] <= track.time_s[bad.stand] + track.period_s:
        return case.absent(f"the reading was seen at {facts.rows(bad.seen)} on the way in")
    slow = [each for each in facts.visits.visits if each.made and each is not bad]
    way = bad.approach_speed * track.period_s
    if facts.speed_ratio < ALIKE and slow:
        just = [each for each in slow if _just_seen(facts, each)]
        if not just:
            return case.absent(
                f"passed at {bad.approach_speed:.0f} mm/s, no faster than the visits in which it was seen"
            )
        case.speaks_for(
            PLAIN,
            f"{facts.rows(bad.at)}: passed at {bad.approach_speed:.0f} mm/s ({way:.0f} mm a loop) without a "
            f"made reading; in visit {just[0].number}, as fast, it was read in one row only: that is chance",
        )
    if facts.speed_ratio >= FAST and slow:
        usual = float(np.median([each.approach_speed for each in slow]))
        case.speaks_for(
            PLAIN,
            f"{facts.rows(bad.at)}: passed at {bad.approach_speed:.0f} mm/s ({way:.0f} mm a loop) without a "
            f"made reading; at {usual:.0f} mm/s it was seen in {len(slow)} visits",
        )
    seen_later = [each for each in facts.later if each.made]
    if seen_later:
        case.speaks_for(GOOD, f"the sensor was seen again in visit {seen_later[0].number}: it is not dead")
    elif facts.later:
        case.speaks_against(GOOD, "it was not seen in any later visit either")
    case.contribution = bad.overtravel
    return case
