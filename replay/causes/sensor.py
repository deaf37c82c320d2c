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
CONTACT_S, CONTACT_MM = 0.15, 16.0
#: A target that works loose was seen at least this much deeper [mm] before it was lost.
FADING_MM = 1.5


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
    first = {each.number: _first_made(facts, each) for each in facts.visits.visits if each.seen}
    counts = {number: _toggles(facts, row) for number, row in first.items()}
    here = counts.get(bad.number, 0) if bad else max(counts.values(), default=0)
    if here < 2:
        return case.absent("the reading changes once per contact")
    visit = bad or max(facts.visits.visits, key=lambda each: counts.get(each.number, 0))
    seen = first[visit.number]
    last = track.after(seen, CONTACT_S)
    case.at(seen, last)
    case.speaks_for(
        GOOD,
        f"{facts.rows(seen, last)}: {here + 1} changes of the reading within {CONTACT_S * 1e3:.0f} ms",
    )
    others = [n for n in counts.values() if n >= 2]
    if len(others) > 1:
        case.speaks_for(HINT, f"the same in {len(others)} of {len(counts)} visits: it belongs to the contact")
    resumed = [i for i in range(seen + 1, min(last + 1, len(track))) if not track.made[i]]
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


def _first_made(facts: Facts, visit: Visit) -> int:
    """First made reading at the trip; the one that lasted may be the last of several bounces."""
    assert visit.seen is not None
    onsets = [i for i in facts.visits.descent(visit).onsets if visit.at - 1 <= i <= visit.seen]
    return min([visit.seen, *onsets])


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


def changes_at_rest(facts: Facts, run: Contrary) -> bool:
    """The reading came or went while the lift stood, so that no height can have done it."""
    track = facts.track
    calm = np.abs(track.speed) <= track.still
    begins = bool(np.all(calm[max(0, run.first - 3) : run.first + 2]))
    return begins or (bool(np.all(calm[run.last - 1 : run.last + 4])) and run.last + 4 < len(track))


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
        if seen:
            case.speaks_for(HINT, f"passed at {bad.approach_speed:.0f} mm/s, at which it used to be seen")
        _fading(facts, case)
    else:
        case.speaks_against(HINT, f"passed {facts.speed_ratio:.1f} times as fast as usual")
    if facts.kind is SensorKind.CONTACT:
        case.speaks_against(PLAIN, "a contact has no target that could be lost")
    case.contribution = bad.overtravel
    return case


def _fading(facts: Facts, case: Case) -> None:
    """A target that works loose is seen later and later before it is lost; a wire gives no such warning."""
    seen = [each for each in facts.before if each.edge_read]
    if len(seen) < 3:
        return
    edges = [each.read_edge for each in seen]
    widths = [each.read_width for each in seen]
    fall = edges[0] - edges[-1]
    falling = all(b <= a + w / 2 for (a, b), w in zip(itertools.pairwise(edges), widths[1:], strict=True))
    if falling and fall > max(FADING_MM, float(np.median(widths))):
        case.speaks_for(GOOD, f"before that its edge came {fall:.1f} mm deeper over {len(seen)} visits")
