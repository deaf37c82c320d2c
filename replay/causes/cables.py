"""Cables: readings that drop out at one height, or for good; counts that stop."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, SURE, Case
from replay.causes.sensor import CONTACT_MM, at_edge, changes_at_rest, lost_since
from replay.causes.timing import ALIKE
from replay.diagnosis import Cause
from replay.facts import Contrary, Facts
from sensor_models.kinds import SensorKind

#: A place is meant when more than this share of all false readings lie there.
PLACE_SHARE = 0.6
#: Drop-outs are at one place when their heights agree within this [mm].
PLACE_MM = 15.0


def cable_break(facts: Facts) -> Case:
    """Reading or count drops out at certain heights, or for good."""
    case = Case(Cause.CABLE_BREAK, test="wiggle the cable at five heights with the lift standing")
    dead = _dead_counts(facts)
    if dead is not None:
        return dead
    upto = len(facts.track) if facts.bad is None else facts.bad.end
    best = _same_place(false_made(facts, upto)) or _same_place(_dropped(facts, upto), least=3)
    if best:
        _at_one_place(facts, case, best, upto)
    elif (gone := lost_since(facts)) is not None:
        _for_good(facts, case, gone)
    else:
        return case.absent("no drop-out that comes back at one height, and no reading that stays dead")
    if facts.bad is not None:
        case.contribution = facts.bad.overtravel
    return case


def _at_one_place(facts: Facts, case: Case, best: list[Contrary], upto: int) -> None:
    case.at(best[0].first, best[-1].last)
    heights = [c.height for c in best]
    case.speaks_for(
        SURE if len(best) > 2 else PLAIN,
        f"the reading drops out {len(best)} times at one height ({min(heights):.0f} to "
        f"{max(heights):.0f} mm), last at {facts.rows(best[-1].first, best[-1].last)}",
    )
    others = len(false_made(facts, upto)) - len(best)
    if best[0].made and len(best) <= PLACE_SHARE * (len(best) + others):
        case.speaks_against(PLAIN, f"{others} others lie elsewhere")


def _for_good(facts: Facts, case: Case, gone: tuple[int, int]) -> None:
    case.at(*gone)
    case.speaks_for(
        PLAIN if len(facts.later) else GOOD, f"from {facts.rows(gone[0])} on the reading never changes again"
    )
    flicker = [c for c in facts.contrary if c.first < gone[0] and _was_alive(facts, c)]
    if flicker:
        case.speaks_for(GOOD, f"it had dropped out before, at {facts.rows(flicker[-1].first)}")
    if facts.kind is SensorKind.CONTACT:
        case.speaks_for(HINT, "a contact has no target to lose; its wires remain")


def _dropped(facts: Facts, upto: int) -> list[Contrary]:
    """Missing readings below the trip that only a place on the way explains."""
    return [
        c
        for c in facts.contrary
        if not c.made
        and c.rows > 1
        and c.first <= upto
        and not at_edge(facts, c)
        and _was_alive(facts, c)
        and _usual_visit(facts, c)
        and not changes_at_rest(facts, c)
    ]


def false_edges(facts: Facts) -> list[Contrary]:
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


def false_made(facts: Facts, upto: int) -> list[Contrary]:
    """Made readings far above the trip, and stops on them."""
    made = [c for c in facts.contrary if c.made and c.first <= upto and not at_edge(facts, c)]
    known = {c.first for c in made}
    return made + [c for c in false_edges(facts) if c.first <= upto and c.first not in known]


def false_place(facts: Facts, upto: int) -> list[Contrary]:
    """Those at one height, where they are most of all: a place on the cable and not chance."""
    every = false_made(facts, upto)
    near = _same_place(every, least=3)
    return near if len(near) > PLACE_SHARE * len(every) else []


def _was_alive(facts: Facts, run: Contrary) -> bool:
    """The reading had been made before a missing one: one that never was cannot drop out."""
    made = facts.track.made
    return run.made or (made is not None and bool(made[: run.first].any()))


def _usual_visit(facts: Facts, run: Contrary) -> bool:
    """The run lies in a visit that came in no faster than usual: none that ran through its window."""
    visit = next((v for v in facts.visits.visits if v.at <= run.first <= v.end), None)
    return visit is not None and visit.approach_speed < ALIKE * max(facts.usual_speed, 1.0)


def _same_place(runs: list[Contrary], least: int = 2) -> list[Contrary]:
    """Runs that reach to one height from above or below, ``least`` of them at least, one of them in passing.

    A worn place is run through both ways: what begins at its upper end on the way in ends there on the
    way out.
    """
    for end in (max, min):
        heights = np.array([end(c.height, c.height_end) for c in runs])
        for height in heights:
            near = [runs[k] for k in np.flatnonzero(np.abs(heights - height) <= PLACE_MM)]
            if len(near) >= least and any(each.duration_s > 0 for each in near):
                return sorted(near, key=lambda each: each.first)
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
