"""Causes in the count: reset, lost, slipped; and wraps that change what a count is worth."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.countsets import CountSet
from replay.diagnosis import Cause, Shape, Visit
from replay.facts import Facts
from replay.trips import NARROW_MM
from replay.walks import Driver, lead, true_edges

Floats = NDArray[np.float64]

#: A shift of the edge counts from this many mm on.
SHIFT_MM = 5.0
#: Edges that spread less than this [mm] do not go with anything.
LEAST_SPREAD_MM = 1.5
#: Edge and height reached go together from this correlation on: two thirds of the spread are explained.
TOGETHER = 0.8
#: A zero this near to the lowest point of a descent was set at home [mm].
HOME_MM = 15.0


def counter_reset(facts: Facts) -> Case:
    """The count was set or jumped away from the sensor."""
    case = Case(Cause.COUNTER_RESET, test="log a boot marker and who sets the count")
    track, bad = facts.track, facts.bad
    upto = len(track) if bad is None else bad.at
    since = 0 if bad is None or bad.number == 1 else facts.visits.visits[bad.number - 2].at
    away = [
        one
        for one in track.sets
        if one.index <= upto and not one.made and abs(one.jump) > SHIFT_MM and not _zero_below(facts, one)
    ]
    if not away:
        return case.absent("the count follows the motion everywhere outside the zeros at the sensor")
    recent = [one for one in away if one.index >= since]
    one = max(recent or away, key=lambda each: abs(each.jump))
    case.at(one.index - 1, one.index)
    where = f"{facts.rows(one.index)}: the count jumps by {abs(one.jump):.0f} mm"
    if abs(one.landed) <= 3 * track.quantum:
        case.speaks_for(SURE, f"{where} to 0, with the sensor not made")
    else:
        case.speaks_for(PLAIN, f"{where} in one row, further than the lift can move")
    if abs(one.speed) > 4 * track.still:
        case.speaks_for(HINT, f"the lift was moving at {abs(one.speed):.0f} mm/s")
    if not recent:
        case.speaks_against(GOOD, "that was before the visit before")
    elif bad is not None and one.jump < 0 and facts.speed_ratio < 1.3:
        case.speaks_against(HINT, "a count too low makes the lift slow down too early, not too late")
    case.contribution = None if bad is None else bad.overtravel
    return case


def _zero_below(facts: Facts, one: CountSet) -> bool:
    """In a log without readings, a zero at rest at the lower end of a descent is taken for a homing."""
    track = facts.track
    if track.made is not None or abs(one.speed) > 4 * track.still or abs(one.landed) > 3 * track.quantum:
        return False
    height = float(track.height[one.index])
    return any(abs(height - float(track.height[each.low])) < HOME_MM for each in facts.visits.descents)


def count_loss(facts: Facts) -> Case:
    """Counts lost with distance and speed: the edge walks one way, visit after visit."""
    case = Case(Cause.COUNT_LOSS, test="mark the string, move fast up and down ten times, compare the count")
    chart, track = facts.chart, facts.track
    seen = [each for each in facts.visits.visits if each.edge_read]
    lost = [run for run in track.frozen if not run.caught_up]
    if lost:
        case.speaks_for(HINT, f"{facts.rows(lost[0].first, lost[0].last)}: the count stands while moving")
    if len(seen) < 3:
        return case.absent("fewer than three edges to compare")
    edges = np.array([each.read_edge for each in seen])
    widths = np.array([each.read_width for each in seen])
    steps = np.diff(edges)
    # an even interval of width w has the standard deviation w / sqrt(12)
    noise = np.maximum(2 * np.hypot(widths[1:], widths[:-1]) / 12**0.5, 1.0)
    plain = np.abs(steps) > np.maximum(noise, 2.0)
    case.at(seen[0].at, seen[-1].at if facts.bad is None else facts.bad.at)
    total = float(edges[-1] - edges[0])
    if np.sum(plain) < 2 or abs(total) < SHIFT_MM:
        return case.absent(f"the edge stays within {np.ptp(edges):.1f} mm over {len(seen)} visits")
    same = max(np.sum(steps[plain] > 0), np.sum(steps[plain] < 0)) / np.sum(plain)
    if same == 1.0:
        case.speaks_for(PLAIN, f"the edge walks one way, by {total:+.0f} mm over {len(seen)} visits")
    else:
        case.speaks_against(PLAIN, f"the edge goes both ways ({same:.0%} of the steps one way)")
    largest = float(np.max(np.abs(steps)) / np.sum(np.abs(steps)))
    if largest > 0.8 and len(steps) > 2:
        case.speaks_against(GOOD, f"{largest:.0%} of the shift came in one step")
    _with_distance(facts, case, steps)
    case.weighs(
        lead(track, true_edges(track, seen), Driver.DISTANCE),
        "nothing explains the edges as well as the way travelled",
        "the way travelled explains the edges worse than something else does",
    )
    case.contribution = None if facts.bad is None else facts.bad.overtravel
    if chart.shape is Shape.RAMP:
        case.speaks_for(HINT, f"the edge chart reads ramp ({chart.confidence:.0%})")
    return case


def _with_distance(facts: Facts, case: Case, steps: Floats) -> None:
    seen = [each for each in facts.visits.visits if each.edge_read]
    way = np.array(
        [
            float(np.sum(np.abs(np.diff(facts.track.height[a.stand : b.at + 1]))))
            for a, b in itertools.pairwise(seen)
        ]
    )
    if len(way) < 4 or np.std(way) < 0.1 * np.mean(way):
        return
    together = float(np.corrcoef(way, np.abs(steps))[0, 1])
    if together > 0.5:
        case.speaks_for(GOOD, f"the shift goes with the distance travelled (correlation {together:.2f})")
    elif together < 0.1:
        case.speaks_against(HINT, f"the shift does not go with distance (correlation {together:.2f})")


def overlapped_wraps(facts: Facts) -> Case:
    """String wound over itself: millimetres for one count change with height."""
    case = Case(Cause.OVERLAPPED_WRAPS, test="measure the height at 200, 400 and 600 mm against the count")
    visits = facts.visits.visits
    seen = plain_edges(visits)
    if len(seen) < 4:
        return case.absent("fewer than four edges to compare with the heights reached")
    edges = np.array([each.read_edge for each in seen])
    peaks = np.array(
        [float(np.max(facts.track.height[: each.at + 1][_since(facts, each) :])) for each in seen]
    )
    deviation = edges - np.median(edges)
    if float(np.std(deviation)) < LEAST_SPREAD_MM or float(np.ptp(peaks)) < 40.0:
        return case.absent(f"the edge keeps within {np.ptp(edges):.1f} mm whatever the height reached before")
    together = float(np.corrcoef(peaks, deviation)[0, 1])
    case.at(seen[0].at, seen[-1].at)
    if float(np.std(np.delete(deviation, np.argmax(np.abs(deviation))))) < LEAST_SPREAD_MM:
        return case.absent("only one visit differs from the others")
    ahead = lead(facts.track, true_edges(facts.track, seen), Driver.HEIGHT)
    if abs(together) > TOGETHER or ahead > GOOD:
        weight = PLAIN if abs(together) > TOGETHER else GOOD
        case.speaks_for(weight, f"the edge goes with the height reached before (correlation {together:.2f})")
        case.weighs(
            ahead,
            "nothing explains the edges as well as the height from which the lift came",
            "the height reached explains the edges worse than something else does",
        )
        steps = np.abs(np.diff(deviation))
        if float(np.max(steps)) > 0.75 * float(np.sum(steps)):
            case.speaks_against(PLAIN, "but all of it came in one step")
        back = np.sum(np.sign(np.diff(deviation)) != np.sign(deviation[-1] - deviation[0]))
        if back >= 1:
            case.speaks_for(GOOD, "and comes back after low lifts, so nothing adds up")
    else:
        case.absent(f"the edge does not go with the height reached (correlation {together:.2f})")
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def plain_edges(visits: Sequence[Visit]) -> list[Visit]:
    """Visits whose edge is known about as well as is usual in the log."""
    seen = [each for each in visits if each.edge_read]
    usual = float(np.median([each.read_width for each in seen])) if seen else 0.0
    return [each for each in seen if each.read_width <= max(NARROW_MM, 2 * usual)]


def _since(facts: Facts, visit: Visit) -> int:
    return 0 if visit.number == 1 else facts.visits.visits[visit.number - 2].at
