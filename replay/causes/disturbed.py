"""Causes that disturb a reading: motor leads, light."""

from __future__ import annotations

import math

import numpy as np

from replay.causes.cables import PLACE_MM, false_edges, false_place
from replay.causes.case import GOOD, HINT, PLAIN, Case
from replay.causes.sensor import at_edge, changes_at_rest
from replay.diagnosis import Cause
from replay.facts import Contrary, Facts
from sensor_models.kinds import SensorKind

#: A flip is isolated when it is this many rows long at most.
FLIP_ROWS = 2


#: Light comes and goes in blocks of at least this [s].
BLOCK_S = 0.15


def electrical_noise(facts: Facts) -> Case:
    """Isolated flips of one reading, anywhere, tied to changes of the motor current."""
    case = Case(Cause.ELECTRICAL_NOISE, test="move it by hand with the motor off: the flips must be gone")
    track = facts.track
    upto = len(track) if facts.bad is None else facts.bad.end
    flips = [c for c in facts.contrary if c.rows <= FLIP_ROWS and c.first <= upto]
    flips = [c for c in flips if not at_edge(facts, c)]
    stops = [c for c in false_edges(facts) if c.first <= upto and _pulse(facts, c)]
    place = {c.first for c in false_place(facts, upto)}
    stops = [c for c in stops if c.first not in place]
    flips = sorted({c.first: c for c in (*flips, *stops)}.values(), key=lambda c: c.first)
    flips = [c for c in flips if c.first not in place]
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
    elif len(flips) >= 2 and spread <= PLACE_MM:
        _at_one_place(facts, case, len(flips), spread)
    if stops:
        case.speaks_for(
            GOOD, f"{facts.rows(stops[0].first)}: the lift stopped on one of them, and it lapsed at rest"
        )
    _with_drive(facts, case, flips)
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def _at_one_place(facts: Facts, case: Case, flips: int, spread: float) -> None:
    """Flips that come by chance do not meet at one height: each but the first has the odds of the travel."""
    travel = float(np.ptp(facts.track.height))
    odds = (flips - 1) * math.log(max(travel / (2 * PLACE_MM), 1.0))
    case.speaks_against(min(PLAIN, odds), f"all {flips} lie within {spread:.0f} mm: a place, and not chance")


def _pulse(facts: Facts, stop: Contrary) -> bool:
    """The reading on which a visit stopped lasted a row or two, and lapsed without a way out."""
    made, track = facts.track.made, facts.track
    assert made is not None
    after = np.flatnonzero(~made[stop.first : stop.first + FLIP_ROWS + 1])
    return len(after) > 0 and bool(track.speed[stop.first + int(after[0])] <= track.still)


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
    still = [c for c in blocks if changes_at_rest(facts, c)]
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
