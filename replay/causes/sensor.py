"""Causes in the sensor: passed, chattering, inverted, cut, blinded, disturbed, bent, gone."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.timing import ALIKE
from replay.diagnosis import Cause, Visit
from replay.facts import Contrary, Facts
from sensor_models.kinds import SensorKind

#: Toggles of one contact event lie within this time [s] and this height [mm].
CONTACT_S, CONTACT_MM = 0.12, 12.0
#: A flip is isolated when it is this many rows long at most.
FLIP_ROWS = 2
#: Light comes and goes in blocks of at least this [s].
BLOCK_S = 0.15
#: Drop-outs are at one place when their heights agree within this [mm].
PLACE_MM = 15.0
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
        GOOD, f"{facts.rows(visit.seen, last)}: {here + 1} changes of the reading within {CONTACT_S * 1e3:.0f} ms"
    )
    others = [n for n in counts.values() if n >= 2]
    if len(others) > 1:
        case.speaks_for(HINT, f"the same in {len(others)} of {len(counts)} visits: it belongs to the contact")
    resumed = [i for i in range(visit.seen + 1, min(last + 1, len(track))) if not track.made[i]]
    if any(facts.inward(i) for i in range(resumed[0], min(visit.stand + 1, len(track)))) if resumed else False:
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


def electrical_noise(facts: Facts) -> Case:
    """Isolated flips of one reading, anywhere, tied to changes of the motor current."""
    case = Case(Cause.ELECTRICAL_NOISE, test="move it by hand with the motor off: the flips must be gone")
    track = facts.track
    upto = len(track) if facts.bad is None else facts.bad.end
    flips = [c for c in facts.contrary if c.rows <= FLIP_ROWS and c.first <= upto]
    flips = [c for c in flips if not _at_edge(facts, c)]
    if not flips:
        return case.absent("no isolated reading contradicts the height")
    case.at(flips[0].first, flips[-1].last)
    rows = ", ".join(str(track.rows(c.first, c.last)[0]) for c in flips[:6])
    case.speaks_for(
        (HINT, GOOD, PLAIN)[min(len(flips), 3) - 1],
        f"{len(flips)} isolated readings of {FLIP_ROWS} rows or less contradict the height (rows {rows})",
    )
    spread = max(c.height for c in flips) - min(c.height for c in flips)
    if len(flips) >= 3 and spread > 3 * PLACE_MM:
        case.speaks_for(HINT, f"they are scattered over {spread:.0f} mm of travel")
    _with_drive(facts, case, flips)
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def _at_edge(facts: Facts, run: Contrary) -> bool:
    """The run lies within one contact event of a visit."""
    return any(
        each.seen is not None and run.first - each.seen >= 0 and run.last <= facts.track.after(each.seen, 0.15)
        for each in facts.visits.visits
    )


def _with_drive(facts: Facts, case: Case, flips: list[Contrary]) -> None:
    track = facts.track
    signal = track.current if track.current is not None else track.command
    if signal is None:
        return
    level = np.abs(signal)
    change = np.abs(np.diff(signal, prepend=signal[0]))
    busy = (level > np.percentile(level, 70)) | (change > np.percentile(change, 90))
    busy[1:] |= busy[:-1]
    busy[:-1] |= busy[1:]
    share, usual = float(np.mean([bool(busy[c.first]) for c in flips])), float(np.mean(busy))
    if share > 0.75 and len(flips) >= 2:
        case.speaks_for(GOOD, f"{share:.0%} of them come with high or changing motor current")
    elif share < usual:
        case.speaks_against(HINT, f"only {share:.0%} of them come with high or changing motor current")


def ambient_light(facts: Facts) -> Case:
    """Long blocks of a wrong reading that follow neither height nor motor current."""
    case = Case(Cause.AMBIENT_LIGHT, test="shade the sensor and repeat; log its raw level")
    track = facts.track
    upto = len(track) if facts.bad is None else facts.bad.end
    blocks = [
        c
        for c in facts.contrary
        if c.duration_s >= BLOCK_S and c.rows > FLIP_ROWS and c.first <= upto and not _goes_on(facts, c)
    ]
    if not blocks and facts.blind and facts.bad is not None and facts.bad.seen is not None:
        return _blinded(facts, case)
    if not blocks:
        return case.absent("no block of readings contradicts the height for a time and then ends")
    last = blocks[-1]
    case.at(last.first, last.last)
    case.speaks_for(
        HINT,
        f"{facts.rows(last.first, last.last)}: {'made' if last.made else 'not made'} for "
        f"{last.duration_s:.2f} s against the height, then right again",
    )
    still = [c for c in blocks if _changes_at_rest(facts, c)]
    if still:
        case.speaks_for(
            PLAIN, f"{facts.rows(still[0].first, still[0].last)}: it changes while the lift stands still"
        )
    if facts.kind is SensorKind.REFLECTIVE:
        case.speaks_for(GOOD, "the sensor works with light")
    elif facts.kind is not None:
        case.speaks_against(PLAIN + GOOD, "the sensor does not work with light")
    case.contribution = facts.bad.overtravel if facts.bad else None
    return case


def _changes_at_rest(facts: Facts, run: Contrary) -> bool:
    """The reading came or went while the lift stood, so that no height can have done it."""
    track = facts.track
    calm = np.abs(track.speed) <= track.still
    begins = bool(np.all(calm[max(0, run.first - 3) : run.first + 2]))
    return begins or bool(np.all(calm[run.last - 1 : run.last + 4])) and run.last + 4 < len(track)


def _blinded(facts: Facts, case: Case) -> Case:
    """The reading failed to come at the trip and came later, with nothing else amiss."""
    bad = facts.bad
    assert bad is not None and bad.seen is not None
    case.at(bad.at, bad.seen)
    case.contribution = bad.overtravel
    case.speaks_for(
        GOOD, f"{facts.rows(bad.at, bad.seen)}: not made for {facts.late_s:.2f} s below the trip, then right again"
    )
    if facts.kind is SensorKind.REFLECTIVE:
        case.speaks_for(GOOD, "the sensor works with light")
    elif facts.kind is not None:
        case.speaks_against(PLAIN + GOOD, "the sensor does not work with light")
    return case


def _goes_on(facts: Facts, run: Contrary) -> bool:
    """The run goes on to the end of the log, or so far that the sensor was never right again."""
    made = facts.track.made
    assert made is not None
    rest = made[run.last + 1 :]
    return len(rest) < 3 or bool(np.all(rest == run.made))


def cable_break(facts: Facts) -> Case:
    """Reading or count drops out at certain heights, or for good."""
    case = Case(Cause.CABLE_BREAK, test="wiggle the cable at five heights with the lift standing")
    track = facts.track
    upto = len(track) if facts.bad is None else facts.bad.end
    runs = [c for c in facts.contrary if c.first <= upto and not _at_edge(facts, c)]
    best = _same_place([c for c in runs if c.made] + _false_edges(facts)) or _same_place(
        [
            c
            for c in runs
            if not c.made and c.rows > 1 and _usual_visit(facts, c) and not _changes_at_rest(facts, c)
        ],
        least=3,
    )
    dead = _dead_counts(facts)
    if dead is not None:
        return dead
    if best:
        case.at(best[0].first, best[-1].last)
        case.speaks_for(
            SURE if len(best) > 2 else PLAIN,
            f"the reading drops out {len(best)} times at one height ({min(c.height for c in best):.0f} to "
            f"{max(c.height for c in best):.0f} mm), last at {facts.rows(best[-1].first, best[-1].last)}",
        )
    elif (gone := _lost_since(facts)) is not None:
        case.at(*gone)
        case.speaks_for(GOOD, f"from {facts.rows(gone[0])} on the reading never changes again")
        flicker = [c for c in facts.contrary if c.first < gone[0]]
        if flicker:
            case.speaks_for(GOOD, f"it had dropped out before, at {facts.rows(flicker[-1].first)}")
        if facts.kind is SensorKind.CONTACT:
            case.speaks_for(HINT, "a contact has no target to lose; its wires remain")
    else:
        return case.absent("no drop-out that comes back at one height, and no reading that stays dead")
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def _false_edges(facts: Facts) -> list[Contrary]:
    """Edges of visits that came far above where the trip had been: stops on a false reading, perhaps."""
    found: list[Contrary] = []
    old: list[float] = []
    for each in facts.visits.visits:
        if each.edge_read and each.seen is not None:
            if len(old) and each.read_edge - float(np.median(old)) > 2 * CONTACT_MM:
                found.append(Contrary(True, each.seen, each.stand, 0.0, each.read_edge, each.rest))
            else:
                old.append(each.read_edge)
    return found


def _usual_visit(facts: Facts, run: Contrary) -> bool:
    """The run lies in a visit that came in no faster than usual: none that ran through its window."""
    visit = next((v for v in facts.visits.visits if v.at <= run.first <= v.end), None)
    return visit is not None and visit.approach_speed < ALIKE * max(facts.usual_speed, 1.0)


def _same_place(runs: list[Contrary], least: int = 2) -> list[Contrary]:
    """Runs that begin or end at one height, ``least`` of them at least, one of them in passing."""
    for side in ("height", "height_end"):
        heights = np.array([getattr(c, side) for c in runs])
        for c in runs:
            near = [runs[k] for k in np.flatnonzero(np.abs(heights - getattr(c, side)) <= PLACE_MM)]
            if len(near) >= least and any(each.duration_s > 0 for each in near):
                return near
    return []


def _dead_counts(facts: Facts) -> Case | None:
    """The count stands at the end of the log while the drive is driven."""
    track = facts.track
    if track.command is None:
        return None
    moved = np.flatnonzero(np.diff(track.height) != 0)
    if len(moved) == 0 or len(track) - moved[-1] < 0.5 / track.period_s:
        return None
    rest = slice(int(moved[-1]) + 1, len(track))
    driven = np.abs(track.command[rest] - facts.visits.hold) > 0.3
    if float(np.sum(track.step_s[rest][driven])) < 0.5:
        return None
    return (
        Case(Cause.CABLE_BREAK, test="turn the spool by hand and watch the count")
        .at(int(moved[-1]), len(track) - 1)
        .speaks_for(PLAIN, f"from {facts.rows(int(moved[-1]))} on the count stands while the drive is driven")
    )


def _lost_since(facts: Facts) -> tuple[int, int] | None:
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
    gone = _lost_since(facts)
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
    for a, b in zip(visits[:-1], visits[1:], strict=True):
        # what lies between the two sampling intervals has moved for certain
        apart = max(b.read_low - a.read_high, a.read_low - b.read_high)
        size = b.read_edge - a.read_edge
        if apart > BENT_MM and (best is None or abs(size) > abs(best[2])):
            best = (a, b, size)
    return best
