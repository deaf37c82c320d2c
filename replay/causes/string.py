"""Causes in the string: stretch, slack, wound the wrong way round."""

from __future__ import annotations

import itertools

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, Case
from replay.causes.counts import plain_edges
from replay.diagnosis import Cause
from replay.facts import Facts
from replay.walks import Driver, lead, true_edges
from sensor_models.kinds import SensorKind

#: A drift under this [mm] is within what zeros, sway and temperature make.
LEAST_STRETCH_MM = 4.0
#: A stretch of string is at most this share of the range of heights; more is no elongation.
STRETCH_SHARE = 0.12


#: No target or lever is made over a longer way than this [mm].
WINDOW_MM = 45.0
#: A lift that starts on its sensor has been wound inwards when it went this far with the reading made [mm].
STARTED_MM = 5.0


def string_stretch(facts: Facts) -> Case:
    """The edge drifts with load and comes back with rest."""
    case = Case(
        Cause.STRING_STRETCH, test="hang the full weight on for ten minutes, then rest, and home each time"
    )
    seen = plain_edges(facts.visits.visits)
    if len(seen) < 3:
        return case.absent("fewer than three edges to compare")
    edges = np.array([each.read_edge for each in seen])
    widths = np.array([each.read_width for each in seen])
    spread = float(np.ptp(facts.track.height))
    drift = float(np.ptp(edges))
    noise = float(np.median(widths)) / 6**0.5 + 0.5
    if drift < max(LEAST_STRETCH_MM, 2 * noise):
        return case.absent(f"the edge stays within {drift:.1f} mm over {len(seen)} visits")
    case.at(seen[0].at, seen[-1].at if facts.bad is None else facts.bad.at)
    peak = int(np.argmax(edges))
    rise, fall = float(edges[peak] - edges[0]), float(edges[peak] - edges[-1])
    if drift > STRETCH_SHARE * spread:
        case.speaks_against(PLAIN, f"a drift of {drift:.0f} mm is more than a string can stretch")
    ways = np.diff(edges[: peak + 1])
    if peak < 2 or float(np.mean(ways > -noise)) < 1.0:
        case.speaks_against(GOOD, f"it does not rise steadily over the first {peak + 1} visits")
    if rise > 2 * noise:
        case.speaks_for(
            GOOD, f"the edge comes earlier by {rise:.1f} mm over {peak + 1} visits: a longer string"
        )
    else:
        case.speaks_against(GOOD, "the edge does not come earlier, as it would with a longer string")
    steps = np.diff(edges)
    largest = float(np.max(np.abs(steps)) / max(np.sum(np.abs(steps)), 1e-9))
    if largest > 0.75 and len(steps) > 2:
        case.speaks_against(GOOD, f"{largest:.0%} of the shift came in one step")
    _comes_back(facts, case, edges, noise)
    case.weighs(
        lead(facts.track, true_edges(facts.track, seen), Driver.LOAD),
        "nothing explains the edges as well as time under load and rest",
        "time under load explains the edges worse than something else does",
    )
    case.contribution = max(rise, fall)
    return case


def _comes_back(facts: Facts, case: Case, edges: np.ndarray, noise: float) -> None:
    """Whether the edge falls back after the longest rests."""
    seen = plain_edges(facts.visits.visits)
    time_s = facts.track.time_s
    rests = np.array([float(time_s[b.start] - time_s[a.stand]) for a, b in itertools.pairwise(seen)])
    back = np.flatnonzero(np.diff(edges) < -max(noise, 0.8))
    if len(back) and (rests[back].max() >= np.median(rests)):
        k = int(back[np.argmax(rests[back])])
        case.speaks_for(
            PLAIN,
            f"after {rests[k]:.0f} s between visits {seen[k].number} and {seen[k + 1].number} it comes back",
        )
    elif len(edges) >= 4 and abs(edges[-1] - edges[-2]) < abs(edges[1] - edges[0]):
        case.speaks_for(HINT, "the drift slows down, as creep does")


def reverse_wrap(facts: Facts) -> Case:
    """String wound on the wrong way round: winding out lifts."""
    case = Case(Cause.REVERSE_WRAP, test="look which side of the spool the string leaves")
    track = facts.track
    if track.made is None:
        return case.absent("no reading in the log")
    margin = max(15.0, 3 * track.quantum)
    found = [
        (i, each, way)
        for each in facts.visits.descents
        for i in each.lapses
        if track.speed[i] < -track.still and i <= each.low
        if (way := _made_way(facts, i)) > WINDOW_MM and (facts.bad is None or i <= facts.bad.end)
    ]
    if not found:
        return case.absent(
            f"the reading never lapses going inwards after more than {WINDOW_MM:g} mm: no target is so long"
        )
    lapse, each, way = found[0]
    case.at(lapse, lapse)
    case.speaks_for(
        PLAIN, f"{facts.rows(lapse)}: going inwards the reading lapses after {way:.0f} mm; it is being lifted"
    )
    if facts.kind is SensorKind.CONTACT:
        case.speaks_for(
            GOOD, "a contact stays pressed on the way down: only a carriage that rises lets it go"
        )
    on = float(track.height[lapse] - track.height[each.low])
    if on > WINDOW_MM:
        case.speaks_for(HINT, f"the spool goes on inwards by {on:.0f} mm, for which there is no room below")
    back = [i for i in each.onsets if i > lapse and abs(track.height[i] - track.height[lapse]) < margin]
    if back:
        case.speaks_for(GOOD, f"it is made again at {facts.rows(back[0])} at the same height, going outwards")
    if track.current is not None:
        before = float(np.median(track.current[max(0, lapse - 8) : max(lapse - 2, 1)]))
        after = float(np.median(track.current[lapse + 2 : lapse + 10])) if lapse + 10 < len(track) else before
        if after > 1.3 * before + 0.05:
            case.speaks_for(GOOD, f"the current rises from {before:.1f} to {after:.1f} A: it lifts")
    case.contribution = facts.bad.overtravel if facts.bad else None
    return case


def _made_way(facts: Facts, lapse: int) -> float:
    """Way of the spool [mm] over which the reading was made before a lapse; a start at rest counts double.

    A lift that begins on its sensor, wound the wrong way round, lapses after less way than a window.
    """
    track = facts.track
    assert track.made is not None
    unmade = np.flatnonzero(~track.made[:lapse])
    first = int(unmade[-1]) + 1 if len(unmade) else 0
    # it may have lapsed right after the last made row, and been made right with the first
    way = float(np.max(track.height[first:lapse]) - track.height[lapse - 1])
    if first > 0:
        return way
    return 1e3 + way if way > STARTED_MM else 0.0
