"""Stop budget of a visit, measured from the log alone."""

from __future__ import annotations

import numpy as np

from replay.diagnosis import BudgetPart, Part
from replay.facts import Facts

#: The parts in words.
PART_WORDS = {
    Part.SENSOR_AGE: "age of the reading",
    Part.LOOP_WAIT: "wait for the loop",
    Part.LATE_LOOP: "late loop",
    Part.SENSOR_AGE_AND_LOOP_WAIT: "age of the reading and loop wait",
    Part.NOT_SEEN: "not read as made",
    Part.COMMAND_DELAY: "reading to changed command",
    Part.BRAKING: "braking",
    Part.SLACK: "slack",
    Part.BRAKING_AND_SLACK: "drive delay, braking and slack",
}


def stop_budget(facts: Facts) -> tuple[BudgetPart, ...]:
    """Millimetres from the trip to the standstill by where they were spent; they add up to the overtravel.

    The rows divide the way at three places: the first made reading, the changed command, the standstill.
    Sensor age and loop wait lie within one sampling interval and are shown together, as are the drive's own
    delay, braking and slack. The bounds hold what the log cannot resolve: where the trip was, and a count.
    """
    bad, track = facts.bad, facts.track
    if bad is None:
        return ()
    # the lowest point, which may lie between two rows
    deepest = min(bad.edge - bad.overtravel, float(np.min(track.height[bad.at : max(bad.stand, bad.at) + 1])))
    if bad.seen is None or bad.seen > bad.stand:
        low, high = bad.edge_low - deepest, bad.edge_high - deepest
        return (BudgetPart(Part.NOT_SEEN, bad.overtravel, max(0.0, low), max(high, bad.overtravel)),)
    parts = _until_seen(facts)
    seen = float(track.height[bad.seen])
    if np.isnan(bad.command_delay_s):
        return (*parts, _counted(facts, Part.BRAKING_AND_SLACK, seen - deepest))
    change = track.after(bad.seen, bad.command_delay_s + 1e-9)
    changed = float(track.height[change]) if change <= bad.stand else deepest
    return (
        *parts,
        _counted(facts, Part.COMMAND_DELAY, seen - changed, same_row=change == bad.seen),
        _counted(facts, Part.BRAKING_AND_SLACK, changed - deepest),
    )


def _counted(facts: Facts, part: Part, way: float, same_row: bool = False) -> BudgetPart:
    """A way between two rows: known to a count, and exactly nothing within one row."""
    doubt = 0.0 if same_row else facts.track.quantum
    return BudgetPart(part, way, min(way, max(0.0, way - doubt)), way + doubt)


def _until_seen(facts: Facts) -> tuple[BudgetPart, ...]:
    """From the trip to the first made reading.

    Where the reading came later than age and a usual loop explain, these get what a usual loop takes: half a
    period's way, anything from none to a whole one; the rest is the late loop's, or of what kept the
    reading away.
    """
    bad = facts.bad
    assert bad is not None
    assert bad.seen is not None
    seen = float(facts.track.height[bad.seen])
    way, low, high = bad.edge - seen, bad.edge_low - seen, bad.edge_high - seen
    late = facts.unread_way
    if late <= 0.0:
        return (BudgetPart(Part.SENSOR_AGE_AND_LOOP_WAIT, way, min(way, max(0.0, low)), high),)
    usual = way - late
    most = min(way, 2 * usual)
    part = Part.LATE_LOOP if facts.loop_was_late else Part.NOT_SEEN
    return (
        BudgetPart(Part.SENSOR_AGE_AND_LOOP_WAIT, usual, 0.0, most),
        BudgetPart(part, late, max(0.0, low - most), high),
    )
