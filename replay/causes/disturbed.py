"""Causes that disturb a reading: motor leads, light, cables."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.sensor import CONTACT_MM, at_edge, lost_since
from replay.causes.timing import ALIKE
from replay.diagnosis import Cause
from replay.facts import Contrary, Facts
from sensor_models.kinds import SensorKind

#: A flip is isolated when it is this many rows long at most.
FLIP_ROWS = 2


#: Light comes and goes in blocks of at least this [s].
BLOCK_S = 0.15


#: Drop-outs are at one place when their heights agree within this [mm].
PLACE_MM = 15.0


def electrical_noise(facts: Facts) -> Case:
    """Isolated flips of one reading, anywhere, tied to changes of the motor current."""
    case = Case(Cause.ELECTRICAL_NOISE, test="move it by hand with the motor off: the flips must be gone")
    track = facts.track
    upto = len(track) if facts.bad is None else facts.bad.end
    flips = [c for c in facts.contrary if c.rows <= FLIP_ROWS and c.first <= upto]
    flips = [c for c in flips if not at_edge(facts, c)]
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
    again = facts.bad is not None and (facts.bad.made or any(each.made for each in facts.later))
    if not blocks and facts.blind and again:
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
    return begins or (bool(np.all(calm[run.last - 1 : run.last + 4])) and run.last + 4 < len(track))


def _blinded(facts: Facts, case: Case) -> Case:
    """The reading failed to come at the trip and came later, with nothing else amiss."""
    bad = facts.bad
    assert bad is not None
    last = bad.stand if bad.seen is None else bad.seen
    case.at(bad.at, last)
    case.contribution = bad.overtravel
    length = float(facts.track.time_s[last] - facts.track.time_s[bad.at])
    case.speaks_for(
        GOOD, f"{facts.rows(bad.at, last)}: not made for {length:.2f} s below the trip, and right again later"
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
    runs = [c for c in facts.contrary if c.first <= upto and not at_edge(facts, c)]
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
    elif (gone := lost_since(facts)) is not None:
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
