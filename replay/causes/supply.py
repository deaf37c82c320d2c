"""Causes in the supply."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, Case
from replay.diagnosis import Cause
from replay.facts import Facts

#: Controllers shed sensor rails and outputs near 6.3 to 6.8 V of a 12 V battery, about half: what is below
#: this share of the log's median is far enough to disturb.
DIP_SHARE = 0.68
#: A dip counts when it lies this long before the trip at most [s].
BEFORE_S = 1.5


def supply_dip(facts: Facts) -> Case:
    """Battery voltage fell far enough to disturb controller or sensor."""
    case = Case(Cause.SUPPLY_DIP, test="log the battery voltage every loop, and charge it")
    track, bad = facts.track, facts.bad
    if track.battery is None:
        return case.speaks_against(GOOD, "no battery column: a dip would not be seen")
    usual = float(np.median(track.battery))
    if bad is None:
        part = slice(0, len(track))
    else:
        last = bad.stand if bad.seen is None else max(bad.stand, bad.seen)
        part = track.span(track.after(bad.at, -BEFORE_S), last)
    low = float(np.min(track.battery[part]))
    at = part.start + int(np.argmin(track.battery[part]))
    if usual <= 0 or low > DIP_SHARE * usual:
        return case.absent(f"the battery kept above {low:.1f} V (median {usual:.1f} V)")
    below = np.flatnonzero(track.battery[part] < DIP_SHARE * usual) + part.start
    case.at(int(below[0]), int(below[-1]))
    case.speaks_for(
        PLAIN,
        f"{facts.rows(int(below[0]), int(below[-1]))}: the battery falls to {low:.1f} V from {usual:.1f} V",
    )
    elsewhere = np.delete(track.battery, np.arange(part.start, part.stop))
    if len(elsewhere) and float(np.min(elsewhere)) > DIP_SHARE * usual:
        case.speaks_for(GOOD, "it falls so far nowhere else in the log")
    if track.current is not None and track.command is not None:
        idle = track.current[below] < 0.5 * max(float(np.median(track.current)), 0.05)
        if bool(np.mean(idle) > 0.5) and abs(float(track.command[at])) > 0.02:
            case.speaks_for(HINT, "the motor draws nothing there although it is commanded")
    if bad is not None and (bad.seen is None or not facts.prompt):
        case.speaks_for(GOOD, "the reading fails to come at the same time")
    case.contribution = None if bad is None else bad.overtravel
    return case
