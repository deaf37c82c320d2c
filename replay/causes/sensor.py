"""Causes in the sensor: passed, chattering, inverted, cut, blinded, disturbed, bent, gone."""

from __future__ import annotations

import itertools

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.timing import ALIKE
from replay.diagnosis import Cause, Visit
from replay.facts import Contrary, Facts
from sensor_models.kinds import SensorKind

#: Toggles of one contact event lie within this time [s] and this height [mm].
CONTACT_S, CONTACT_MM = 0.12, 12.0
#: The edge of a bent switch has moved by at least this [mm].
BENT_MM = 3.0


def target_past_sensor(facts: Facts) -> Case:
    """Made, then lapsed with the lift still going in: the target left the window at its lower end."""
    case = Case(Cause.TARGET_PAST_SENSOR, test="move the target slowly past the sensor and note both edges")
    bad, track, descent = facts.bad, facts.track, facts.descent
    if bad is None or descent is None or bad.seen is None:
        return case.absent("there was no reading that could have lapsed")
    lapses = [i for i in descent.lapses if bad.seen < i <= bad.stand + 1 and track.speed[i] < -track.still]
    if not lapses:
        return case.absent("the reading stayed made while the lift went on inwards")
    lapse = lapses[0]
    again = [i for i in descent.onsets if lapse < i <= bad.stand]
    pulse = float(track.height[bad.seen] - track.height[lapse])
    case.at(bad.seen, lapse)
    case.speaks_for(
        GOOD, f"{facts.rows(bad.seen, lapse)}: made over {pulse:.1f} mm, then lapsed while still going in"
    )
    if not again:
        case.speaks_for(GOOD, "it stays unmade down to the standstill: the target is past it")
    else:
        case.speaks_against(GOOD, f"it is made again at {facts.rows(again[0])} on the way in")
    if any(facts.inward(i) for i in range(lapse, min(bad.stand + 1, len(track)))):
        case.speaks_for(HINT, "the command goes inwards again after the lapse")
    case.contribution = max(0.0, float(track.height[lapse] - track.height[bad.stand]))
    if facts.speed_ratio > ALIKE:
        case.speaks_for(HINT, f"it came in {facts.speed_ratio:.1f} times as fast as usual")
    elif bad.run_on > 3 * max(
        [each.run_on for each in facts.good if each.run_on == each.run_on], default=1e9
    ):
        case.speaks_against(PLAIN, "the command had changed, and the spool ran on far beyond any window")
    kept = [each for each in facts.good if each.made and each.overtravel > 1.5 * pulse]
    if kept:
        case.speaks_against(GOOD, f"visit {kept[0].number} went {kept[0].overtravel:.0f} mm past and kept it")
    if facts.kind is SensorKind.CONTACT:
        case.speaks_against(HINT, "a contact stays pressed past its operating point, unless it is broken")
    return case


def contact_chatter(facts: Facts) -> Case:
    """Make and break within one contact, each taken as an event of its own."""
    case = Case(Cause.CONTACT_CHATTER, test="log the raw level at 1 kHz or faster while pressing by hand")
    track, bad = facts.track, facts.bad
    if track.made is None:
        return case.absent("no reading in the log")
    counts = {each.number: _toggles(facts, each.seen) for each in facts.visits.visits if each.seen}
    here = counts.get(bad.number, 0) if bad else max(counts.values(), default=0)
    if here < 2:
        return case.absent("the reading changes once per contact")
    visit = bad or max(facts.visits.visits, key=lambda each: counts.get(each.number, 0))
    assert visit.seen is not None
    last = track.after(visit.seen, CONTACT_S)
    case.at(visit.seen, last)
    case.speaks_for(
        GOOD,
        f"{facts.rows(visit.seen, last)}: {here + 1} changes of the reading within {CONTACT_S * 1e3:.0f} ms",
    )
    others = [n for n in counts.values() if n >= 2]
    if len(others) > 1:
        case.speaks_for(HINT, f"the same in {len(others)} of {len(counts)} visits: it belongs to the contact")
    resumed = [i for i in range(visit.seen + 1, min(last + 1, len(track))) if not track.made[i]]
    if (
        any(facts.inward(i) for i in range(resumed[0], min(visit.stand + 1, len(track))))
        if resumed
        else False
    ):
        case.speaks_for(GOOD, "the command goes inwards again when the reading lapses")
    if len([z for z in visit.zeros if z <= last + 5]) > 1:
        case.speaks_for(GOOD, f"{len(visit.zeros)} zeros were set in this one contact")
    if facts.kind is SensorKind.CONTACT:
        case.speaks_for(HINT, "the sensor is a contact; contacts bounce")
    elif facts.kind is not None:
        case.speaks_against(GOOD, "the sensor has no contact that could bounce")
    case.contribution = bad.overtravel if bad else None
    return case


def _toggles(facts: Facts, seen: int) -> int:
    """Changes of the reading after ``seen`` within one contact event."""
    track = facts.track
    assert track.made is not None
    last = track.after(seen, CONTACT_S)
    part = track.made[seen : last + 1].astype(np.int8)
    reach = max(CONTACT_MM, 0.06 * abs(float(track.speed[max(seen - 1, 0)])))
    near = np.abs(track.height[seen : last + 1] - track.height[seen]) <= reach
    return int(np.sum((np.diff(part) != 0) & near[1:]))


def sensor_polarity(facts: Facts) -> Case:
    """Made all along the travel, not made at the bottom."""
    case = Case(Cause.SENSOR_POLARITY, test="press it by hand and watch the raw level; log the raw level too")
    track = facts.track
    if track.made is None:
        return case.absent("no reading in the log")
    low, high = float(np.min(track.height)), float(np.max(track.height))
    up = track.height > low + 0.3 * (high - low)
    down = track.height < low + 0.06 * (high - low)
    share_up, share_down = _share(track.made, up), _share(track.made, down)
    case.at(0, len(track) - 1)
    if np.isnan(share_up) or np.isnan(share_down):
        return case.absent("the lift did not leave the bottom, or never reached it")
    words = f"made in {share_up:.0%} of the rows high up and in {share_down:.0%} at the lowest heights"
    if share_up > 0.97 and share_down > 0.97 and high - low > 60.0:
        case.speaks_for(SURE, f"{words}: made over {high - low:.0f} mm, which no target is long")
    elif share_up > 0.85 and share_down < 0.5:
        case.speaks_for(SURE, words)
        case.speaks_for(HINT, "that is the sense of a healthy sensor turned round")
    elif share_up > 0.85:
        case.speaks_for(GOOD, words)
    else:
        return case.absent(words)
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def _share(made: np.ndarray, rows: np.ndarray) -> float:
    return float(np.mean(made[rows])) if rows.any() else float("nan")


def at_edge(facts: Facts, run: Contrary) -> bool:
    """The run lies within one contact event of a visit."""
    return any(
        each.seen is not None
        and run.first - each.seen >= 0
        and run.last <= facts.track.after(each.seen, 0.15)
        for each in facts.visits.visits
    )


def lost_since(facts: Facts) -> tuple[int, int] | None:
    """Rows from which the sensor was passed and not made, to the end of the log; None if it came back."""
    track, bad = facts.track, facts.bad
    if bad is None or track.made is None or (bad.seen is not None and facts.prompt):
        return None
    if bool(np.any(track.made[bad.at :])):
        return None
    return bad.at, len(track) - 1


def target_lost(facts: Facts) -> Case:
    """Never made any more: magnet or target gone or out of range."""
    case = Case(Cause.TARGET_LOST, test="hold a magnet or target in front of the sensor by hand")
    gone = lost_since(facts)
    bad = facts.bad
    if bad is None or gone is None:
        return case.absent("the sensor was made in or after this visit")
    case.at(gone[0], gone[1])
    seen = [each for each in facts.before if each.made]
    case.speaks_for(
        PLAIN if len(facts.later) else GOOD,
        f"{facts.rows(gone[0])}: the trip was passed {1 + len(facts.later)} times and never made again",
    )
    if seen:
        case.speaks_for(HINT, f"it was made in {len(seen)} visits before")
    if facts.speed_ratio < ALIKE:
        case.speaks_for(GOOD, f"passed at {bad.approach_speed:.0f} mm/s, at which it used to be seen")
    else:
        case.speaks_against(HINT, f"passed {facts.speed_ratio:.1f} times as fast as usual")
    if facts.kind is SensorKind.CONTACT:
        case.speaks_against(PLAIN, "a contact has no target that could be lost")
    case.contribution = bad.overtravel
    return case


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
