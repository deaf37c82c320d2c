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
    Part.BRAKING_AND_SLACK: "braking and slack",
}


def stop_budget(facts: Facts) -> tuple[BudgetPart, ...]:
    """Millimetres from the trip to the standstill by where they were spent; they add up to the overtravel.

    The rows divide the way at three places: the first made reading, the changed command, the standstill.
    Sensor age and loop wait lie within one sampling interval and are shown together; so are braking and
    slack unless the log's speed tells them apart (running on at a speed that no longer falls).
    """
    bad, track = facts.bad, facts.track
    if bad is None:
        return ()
    deepest = float(np.min(track.height[bad.at : max(bad.stand, bad.at) + 1]))
    spread = (bad.edge - bad.edge_high, bad.edge - bad.edge_low)
    if bad.seen is None or bad.seen > bad.stand:
        return (BudgetPart(Part.NOT_SEEN, bad.overtravel, *_bounds(bad.overtravel, spread)),)
    seen = float(track.height[bad.seen])
    parts = _until_seen(facts, bad.edge - seen, spread)
    if np.isnan(bad.command_delay_s):
        rest = seen - deepest
        return (*parts, BudgetPart(Part.BRAKING_AND_SLACK, rest, rest, rest))
    change = track.after(bad.seen, bad.command_delay_s + 1e-9)
    changed = float(track.height[change]) if change <= bad.stand else deepest
    delay, rest = seen - changed, changed - deepest
    quantum = track.quantum
    return (
        *parts,
        BudgetPart(Part.COMMAND_DELAY, delay, delay - quantum, delay + quantum),
        BudgetPart(Part.BRAKING_AND_SLACK, rest, rest - quantum, rest + quantum),
    )


def _until_seen(facts: Facts, way: float, spread: tuple[float, float]) -> tuple[BudgetPart, ...]:
    bad = facts.bad
    assert bad is not None
    if not facts.loop_was_late:
        part = Part.SENSOR_AGE_AND_LOOP_WAIT if facts.prompt else Part.NOT_SEEN
        return (BudgetPart(part, way, *_bounds(way, spread)),)
    late = min(way, bad.approach_speed * (facts.late_step[1] - facts.track.period_s))
    rest = way - late
    return (
        BudgetPart(Part.SENSOR_AGE_AND_LOOP_WAIT, rest, *_bounds(rest, spread)),
        BudgetPart(Part.LATE_LOOP, late, *_bounds(late, spread)),
    )


def _bounds(value: float, spread: tuple[float, float]) -> tuple[float, float]:
    """The trip lies somewhere in its sampling interval; a higher trip makes the part longer."""
    return value - max(0.0, spread[1]), value - min(0.0, spread[0])
