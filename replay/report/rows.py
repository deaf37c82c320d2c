"""What was found in a log as rows of words, for tables."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from homing.report.numbers import percent, plain
from replay.compare_logs import Comparisons, Measure
from replay.diagnosis import Finding, Visit
from replay.intervals import Estimate
from replay.report.analysis import Analysis
from replay.routine_on_log import Difference, Kind
from replay.summary import row_ranges

PREVENTED = {True: "prevented", False: "not prevented", None: "cannot say"}
#: Differences between routine and log that the page shows at once; the rest can be unfolded.
SHOWN = 8

KIND_WORDS = {
    Kind.KEPT_ON: "reading not obeyed",
    Kind.STOPPED_ITSELF: "would have stopped itself",
    Kind.STOPPED_EARLIER: "stopped without a reading",
    Kind.FASTER: "faster than the slow zone",
    Kind.ZEROED_EARLY: "count set too early",
    Kind.OTHER_PHASE: "another phase",
}


def value(number: float, places: int = 1) -> str:
    """A number, or a dash where the log does not have it."""
    return "-" if math.isnan(number) else plain(number, places)


def visit_rows(analysis: Analysis) -> Iterator[tuple[bool, bool, list[str]]]:
    """Every visit: whether it is the one in question, whether it is past the limit, and its cells."""
    found = analysis.shown
    for each in found.visits:
        asked = found.bad_visit is not None and each.number == found.bad_visit.number
        yield asked, each.overtravel > found.limit_mm, _visit(each)


VISIT_HEADS = (
    "visit", "at [s]", "row", "approach [{}/s]", "edge as counted [{}]", "overtravel [{}]", "at most [{}]",
    "made", "command after [ms]", "count set", "longest loop [ms]", "battery low [V]", "current [A]",
)  # fmt: skip


def _visit(each: Visit) -> list[str]:
    half = (each.edge_high - each.edge_low) / 2
    return [
        str(each.number),
        f"{each.t_s:.2f}",
        str(each.row),
        value(each.approach_speed, 0),
        f"{value(each.edge_logged)} ±{value(half)}",
        value(each.overtravel),
        value(each.deepest),
        "yes" if each.made else "no",
        value(each.command_delay_s * 1e3, 0),
        "yes" if each.zeroed else "no",
        value(each.longest_step_s * 1e3, 0),
        value(each.battery_low_v, 2),
        value(each.current_a),
    ]


def rows_words(rows: tuple[int, int]) -> str:
    """Rows of the file in words."""
    return f"row {rows[0]}" if rows[0] == rows[1] else f"rows {rows[0]} to {rows[1]}"


def likely(finding: Finding) -> str:
    """A score in words; never surer than the priors that it rests on."""
    return "over 99 %" if finding.score > 0.99 else percent(finding.score)


def finding_head(finding: Finding) -> str:
    """Where and when a cause acted."""
    return f"{likely(finding)} likely, {rows_words(finding.rows)}, from {finding.t_s:.3f} s"


def change_rows(analysis: Analysis) -> list[tuple[str, str, str, str]]:
    """Changes of the what-if: what, overtravel, interval, verdict."""
    found = analysis.what_ifs
    if found is None:
        return []
    return [
        (one.change, value(one.overtravel_mm), f"{one.low:.1f} to {one.high:.1f}", PREVENTED[one.prevented])
        for one in found.changes
    ]


def difference_rows(analysis: Analysis) -> tuple[list[Difference], list[Difference]]:
    """Differences between routine and log: those of the visit in question and the first others; the rest."""
    every = list(analysis.routine.differences)
    bad = analysis.diagnosis.bad_visit
    own = [each for each in every if bad is not None and each.visit == bad.number]
    others = [each for each in every if each not in own]
    room = max(0, SHOWN - len(own))
    return own + others[:room], others[room:]


def defect_rows(analysis: Analysis) -> list[tuple[str, int, str, str, str]]:
    """Defects of the log: kind, count, column, rows, note."""
    return [
        (each.kind.value.replace("_", " "), each.count, each.column or "", row_ranges(each.rows), each.note)
        for each in analysis.diagnosis.log.defects
    ]


def role_rows(analysis: Analysis) -> list[tuple[str, str, str, str]]:
    """Roles: role, column, unit, how it is known."""
    rows = []
    for role, choice in sorted(analysis.diagnosis.log.roles.items()):
        spec = choice.spec
        rows.append(
            (role.value, spec.column, "" if spec.unit is None else spec.unit.word, choice.origin.value)
        )
    return rows


@dataclass(frozen=True)
class ComparisonRow:
    """A measure over all logs in words: (value, interval, change) for each."""

    title: str
    cells: list[tuple[str, str, str]]


def comparison_rows(found: Comparisons) -> list[ComparisonRow]:
    """The before/after table."""
    return [
        ComparisonRow(
            each.measure.words,
            [
                (*_estimate(one, each.measure), "" if number == 0 else change.words)
                for number, (one, change) in enumerate(zip(each.estimates, each.changes, strict=True))
            ],
        )
        for each in found.measures
    ]


def _estimate(one: Estimate, measure: Measure) -> tuple[str, str]:
    if math.isnan(one.value):
        return "-", f"{one.visits} visits"
    if measure.share:
        of = f"{round(one.value * one.visits)} of {one.visits}"
        return of, f"{100 * one.low:.0f} to {100 * one.high:.0f} %"
    places = 2 if measure is Measure.BATTERY else 1
    if math.isnan(one.low):
        return plain(one.value, places), f"no interval from {one.visits}"
    return plain(one.value, places), f"{plain(one.low, places)} to {plain(one.high, places)}"
