"""Causes that move the edge in one step: a slipping hub, a bent switch."""

from __future__ import annotations

import itertools

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.counts import SHIFT_MM
from replay.diagnosis import Cause, Visit
from replay.facts import Facts
from replay.walks import Driver, lead, true_edges
from sensor_models.kinds import SensorKind

#: A shift of the edge counts from this many half sampling intervals on.
SHIFT_WIDTHS = 2.0
#: A made reading in passing belongs to the new edge when it ends this near to it [mm].
NEW_EDGE_MM = 15.0
#: What was bent stays bent: later edges keep within this share of the step.
STAYS = 0.35
#: The edge of a bent switch has moved by at least this [mm].
BENT_MM = 3.0


def switch_damage(facts: Facts) -> Case:
    """The operating point of a contact moved in one step after an impact."""
    case = Case(Cause.SWITCH_DAMAGE, test="look at the lever; measure its operating point from the stop")
    visits = [each for each in facts.visits.visits if facts.bad is None or each.number <= facts.bad.number]
    if facts.kind is not None and facts.kind is not SensorKind.CONTACT:
        return case.absent("the sensor has no lever that could bend")
    if len(visits) < 2:
        return case.absent("fewer than two visits to compare")
    step = _edge_step(facts)
    if step is None:
        return case.absent("the edge did not move between visits")
    before, after, size = step
    hit = before.approach_speed > 1.5 * max(facts.usual_speed, 1.0) or before.overtravel > facts.limit
    case.at(before.at, after.at)
    case.speaks_for(
        GOOD, f"from visit {before.number} to {after.number} the operating point moved by {size:+.1f} mm"
    )
    if hit:
        case.speaks_for(PLAIN, f"visit {before.number} hit hard ({before.approach_speed:.0f} mm/s)")
    else:
        case.speaks_against(HINT, f"visit {before.number} came in softly ({before.approach_speed:.0f} mm/s)")
    if facts.kind is SensorKind.CONTACT:
        case.speaks_for(HINT, "the sensor is a contact")
    later = [each for each in facts.visits.visits if each.number >= after.number and each.edge_read]
    if len(later) >= 2:
        spread = float(np.ptp([each.read_edge for each in later]))
        words = f"it then stays within {spread:.1f} mm over {len(later)} visits"
        stays = spread < max(STAYS * abs(size), float(np.median([each.read_width for each in later])))
        case.speaks_for(GOOD, words) if stays else case.speaks_against(GOOD, words)
    if facts.kind is SensorKind.CONTACT and size < 0:
        by_step(facts, case)
    if size > 0:
        case.speaks_against(HINT, "a crushed lever operates later, not earlier")
    case.contribution = abs(size)
    return case


def _edge_step(facts: Facts) -> tuple[Visit, Visit, float] | None:
    """The largest step of the operating point between two visits."""
    upto = len(facts.visits.visits) if facts.bad is None else facts.bad.number
    visits = [each for each in facts.visits.visits[:upto] if each.edge_read]
    best: tuple[Visit, Visit, float] | None = None
    for a, b in itertools.pairwise(visits):
        # what lies between the two sampling intervals has moved for certain
        apart = max(b.read_low - a.read_high, a.read_low - b.read_high)
        size = b.read_edge - a.read_edge
        if apart > BENT_MM and (best is None or abs(size) > abs(best[2])):
            best = (a, b, size)
    return best


def _between(facts: Facts) -> tuple[int, int, float, float] | None:
    """The shift of the edge that matters: rows between which it came, its size, and its uncertainty.

    The edge of the bad visit against the median of those before; where the bad one was not seen, or was
    the first, the largest step in the log.
    """
    seen = [each for each in facts.visits.visits if each.edge_read]
    if facts.bad is not None:
        seen = [each for each in seen if each.number <= facts.bad.number]
    if len(seen) < 2:
        return None
    sizes = []
    for k in range(1, len(seen)):
        shift = seen[k].read_edge - float(np.median([each.read_edge for each in seen[max(0, k - 3) : k]]))
        width = (seen[k].read_width + seen[k - 1].read_width) / 2
        sizes.append((abs(shift), seen[k - 1].stand, seen[k].at, shift, width))
    size, first, last, shift, width = max(sizes)
    return (first, last, shift, width) if size > max(SHIFT_MM, SHIFT_WIDTHS * width / 2) else None


def drive_slip(facts: Facts) -> Case:
    """Hub, gear or set screw slipped: the edge steps and stays."""
    case = Case(Cause.DRIVE_SLIP, test="paint a line over hub and shaft and look whether it stays whole")
    shift = _between(facts)
    if shift is None:
        return case.absent("the edge is where it was before, within its sampling interval")
    first, last, size, _ = shift
    case.at(first, last)
    case.speaks_for(
        GOOD, f"between {facts.rows(first)} and {facts.rows(last)} the edge moved by {size:+.0f} mm"
    )
    if size < 0:
        case.absent("the edge came deeper; a slipping hub lets the carriage down, so that it comes earlier")
    seen = [each for each in facts.visits.visits if each.edge_read]
    before = [each.read_edge for each in seen if each.at < last]
    after = [each.read_edge for each in seen if each.at >= last]
    if len(after) >= 2:
        stays = float(np.ptp(after)) < 0.35 * abs(size)
        words = f"it then stays within {np.ptp(after):.1f} mm over {len(after)} visits"
        case.speaks_for(GOOD, words) if stays else case.speaks_against(GOOD, words)
    if len(before) >= 2 and float(np.ptp(before)) > 0.35 * abs(size):
        case.speaks_against(GOOD, f"it already wandered by {np.ptp(before):.1f} mm before")
    elif len(before) >= 2:
        case.speaks_for(HINT, f"before it kept within {np.ptp(before):.1f} mm over {len(before)} visits")
    if size > 0:
        by_step(facts, case)
    _passed_before(facts, case, first, last)
    _with_current(facts, case, first, last)
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def _passed_before(facts: Facts, case: Case, first: int, last: int) -> None:
    """A new edge at which the sensor read made on the way out already is a place up there, and no slip."""
    new = next((each.read_edge for each in facts.visits.visits if each.edge_read and each.at == last), None)
    if new is None:
        return
    made = [
        c
        for c in facts.contrary
        if c.made
        and first <= c.first < last
        and (c.height_end > c.height or facts.track.speed[c.first] > facts.track.still)
        and abs(c.height_end - new) <= NEW_EDGE_MM
    ]
    if made:
        case.speaks_against(
            SURE,
            f"{facts.rows(made[0].first, made[0].last)}: made at the new edge on the way out already, far "
            "above the old one",
        )


def by_step(facts: Facts, case: Case) -> Case:
    """Weigh one step of the edge against drifts."""
    return case.weighs(
        lead(facts.track, true_edges(facts.track, facts.visits.visits), Driver.STEP),
        "nothing explains the edges as well as one step",
        "one step explains the edges worse than something else does",
    )


def _with_current(facts: Facts, case: Case, first: int, last: int) -> None:
    track = facts.track
    if track.current is None:
        return
    there = track.current[first : last + 1]
    elsewhere = np.concatenate([track.current[:first], track.current[last + 1 :]])
    if len(elsewhere) < 10:
        return
    usual = float(np.percentile(elsewhere, 99.5))
    at = first + int(np.argmax(there))
    if float(np.max(there)) > 1.3 * usual:
        case.at(max(at - 3, 0), at + 3)
        case.speaks_for(
            GOOD, f"{facts.rows(at)}: the current peaks at {np.max(there):.1f} A ({usual:.1f} A otherwise)"
        )
