"""A comparison as rows of words, used alike by the terminal table and by the page."""

from __future__ import annotations

import math
import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING

from homing.liftfile import BUILT_IN
from homing.report.numbers import MISSING, percent, plain

if TYPE_CHECKING:
    from homing.compare.results import Band, CandidateResult, Comparison, MountAdvice

VERDICTS = {True: "holds", False: "FAILS"}


@dataclass(frozen=True)
class CandidateRow:
    """One candidate in words; lengths in mm."""

    rank: str
    name: str
    kind: str
    mount: str
    gap: str
    trip: str
    trip_band: str
    release: str
    release_band: str
    hysteresis: str
    window: str
    seen: str
    false_trigger: str
    repeatability: str
    stop: str
    worst_stop: str
    room: str
    margin: str
    sway: str
    temperature: str
    stack: str
    wire: str
    verdict: str
    passed: bool
    why: str
    remarks: tuple[str, ...]


def candidate_row(result: CandidateResult) -> CandidateRow:
    """Words for one candidate."""
    stall = result.kind == "stall"
    return CandidateRow(
        rank=str(result.rank),
        name=result.name,
        kind=result.kind,
        mount=plain(result.mount_mm, 1),
        gap=_length(result.gap_mm),
        trip=_length(result.trip_mm.nominal),
        trip_band=_band(result.trip_mm),
        release=_length(result.release_mm.nominal),
        release_band=_band(result.release_mm),
        hysteresis=_length(result.hysteresis_mm, 2),
        window=_length(result.window_mm),
        seen=percent(result.seen_probability),
        false_trigger=MISSING if stall else percent(result.false_trigger_probability),
        repeatability=_length(result.repeatability_mm, 2),
        stop=_length(result.stop_distance_mm.nominal),
        worst_stop=_length(result.stop_distance_mm.worst),
        room=_length(result.room_mm),
        margin=_share(result.least_margin),
        sway=_length(result.sway_mm_per_mm, 2),
        temperature=_length(result.temperature_mm_per_k, 3),
        stack=_stack(result),
        wire=result.broken_wire,
        verdict="never made" if result.miss else VERDICTS[result.passed],
        passed=result.passed,
        why=result.why,
        remarks=(*_chosen(result), *result.remarks),
    )


def candidate_rows(comparison: Comparison) -> tuple[CandidateRow, ...]:
    """All candidates in the order of their rank."""
    return tuple(candidate_row(each) for each in comparison.candidates)


def _length(mm: float, places: int = 1) -> str:
    return plain(mm, places)


def _band(band: Band) -> str:
    """Both ends of a band; empty where there is none, or it has no width to speak of."""
    if not math.isfinite(band.low) or band.high - band.low < 0.05:
        return ""
    return f"{plain(band.low, 1)} to {plain(band.high, 1)}"


def _share(margin: float) -> str:
    if math.isnan(margin):
        return MISSING
    return f"{100 * margin:.0f} %" if margin >= -1.0 else "< -100 %"


def _stack(result: CandidateResult) -> str:
    if math.isnan(result.stack_worst_mm):
        return MISSING
    return f"{plain(result.stack_worst_mm, 2)} / {plain(result.stack_rss_mm, 2)}"


def _chosen(result: CandidateResult) -> tuple[str, ...]:
    return tuple(
        f"{each.key} chosen within {each.low:g} to {each.high:g}: {each.value:g}" for each in result.chosen
    )


def headline(comparison: Comparison) -> str:
    """The outcome as one sentence."""
    passed = sum(each.passed for each in comparison.candidates)
    count, best = len(comparison.candidates), comparison.best
    if not passed:
        return f"None of {count} candidates meets every requirement; nearest is {best.name} ({best.kind})."
    if count == 1:
        return f"{best.name} ({best.kind}) meets every requirement."
    verb = "meets" if passed == 1 else "meet"
    return f"{best.name} ({best.kind}) comes first; {passed} of {count} candidates {verb} every requirement."


def seen_speeds(comparison: Comparison) -> tuple[float, ...]:
    """Approach speeds at which it was asked whether a candidate is seen [mm/s]."""
    return tuple(sorted({speed for each in comparison.candidates for speed, _ in each.seen}))


def seen_rows(comparison: Comparison) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Candidate, and the probability of being seen at each of ``seen_speeds``; without the hard stop."""
    speeds = seen_speeds(comparison)
    return tuple(
        (each.name, tuple(percent(dict(each.seen).get(speed, math.nan)) for speed in speeds))
        for each in comparison.candidates
        if each.kind != "stall"
    )


@dataclass(frozen=True)
class TermRow:
    """One term of the stop; ``start`` and ``end`` are its place on a strip from 0 to 100."""

    name: str
    formula: str
    mm: str
    start: float
    end: float


def term_rows(advice: MountAdvice) -> tuple[TermRow, ...]:
    """The terms one after the other; a margin below 0 is drawn backwards."""
    whole = sum(max(term.mm, 0.0) for term in advice.terms) or 1.0
    rows, reached = [], 0.0
    for term in advice.terms:
        end = reached + 100.0 * term.mm / whole
        rows.append(
            TermRow(
                term.name.replace("_", " "),
                term.formula,
                plain(term.mm, 2),
                min(reached, end),
                max(reached, end),
            )
        )
        reached = end
    return tuple(rows)


def command(comparison: Comparison) -> str:
    """The command line that repeats this comparison."""
    source = str(comparison.lift.source)
    words = ["downstop", "compare"] + ([] if source == BUILT_IN else [shlex.quote(source)])
    return " ".join([*words, "--runs", str(comparison.runs), "--seed", str(comparison.seed)])
