"""A verification as rows of words, used alike by the terminal tables and by the page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from homing.report import wording
from homing.report.numbers import MISSING, bounds, decimals, measure, percent, plain
from homing.results import BUDGET_PARTS, FaultResult, Outcome, RequirementResult, Run, Stop

if TYPE_CHECKING:
    from homing.results import Verification


@dataclass(frozen=True)
class RequirementRow:
    """One requirement; all numbers carry the same digits, those that its limit asks for."""

    title: str
    unit: str
    limit: str
    nominal: str
    median: str
    p95: str
    p99: str
    worst: str
    worst_run: int | None
    failures: str
    failure: str
    bounds: str
    margin: str
    passed: bool
    why: str

    @property
    def verdict(self) -> str:
        return "holds" if self.passed else "FAILS"


@dataclass(frozen=True)
class BudgetRow:
    """One part of a stop: where it starts and ends on the way from the trip height, in mm."""

    title: str
    meaning: str
    start_mm: float
    end_mm: float

    @property
    def mm(self) -> float:
        return self.end_mm - self.start_mm


@dataclass(frozen=True)
class FaultRow:
    """One injected fault over its runs."""

    fault: str
    alters: str
    outcome: str
    detected: str
    zeroed: str
    faulted: str
    unsafe: str
    overtravel: str
    slack: str
    zero_error: str
    reason: str
    runs: int


def requirement_row(result: RequirementResult) -> RequirementRow:
    """Words for one requirement."""
    unit = "" if result.unit in wording.COUNTED else result.unit
    places = decimals(result.limit) if unit else 0

    def number(value: float) -> str:
        return plain(value, places)

    return RequirementRow(
        title=wording.title(result.name),
        unit=unit,
        limit=number(result.limit),
        nominal=number(result.nominal),
        median=number(result.median),
        p95=number(result.p95),
        p99=number(result.p99),
        worst=number(result.worst),
        # where nothing happened in any run, no run is worse than another
        worst_run=result.worst_run if result.worst else None,
        failures=f"{result.failures} of {result.runs}",
        failure=percent(result.failure_probability),
        bounds=bounds(result.ci_low, result.ci_high),
        margin=number(result.margin),
        passed=result.passed,
        why=result.why,
    )


def requirement_rows(verification: Verification) -> tuple[RequirementRow, ...]:
    """All requirements, in the order of the results."""
    return tuple(requirement_row(result) for result in verification.requirements)


def headline(verification: Verification) -> str:
    """The verdict as one sentence, without the name of the lift."""
    by = f' Controlled by the program "{verification.program}".' if verification.program else ""
    count = len(verification.requirements)
    short = sum(not requirement.passed for requirement in verification.requirements)
    if not short:
        return f"All {count} requirements hold.{by}"
    verb = "falls" if short == 1 else "fall"
    return f"{short} of {count} requirements {verb} short.{by}"


def budget_rows(budget_mm: Mapping[str, float]) -> tuple[BudgetRow, ...]:
    """Parts of a stop in the order in which they are spent, each starting where the last one ended."""
    order = [part for part in BUDGET_PARTS if part in budget_mm]
    order += [part for part in budget_mm if part not in order]
    rows, reached = [], 0.0
    for part in order:
        word = wording.BUDGET.get(part, wording.Word(part.replace("_", " "), "mm", ""))
        rows.append(BudgetRow(word.title, word.meaning, reached, reached + budget_mm[part]))
        reached += budget_mm[part]
    return tuple(rows)


def outcome_rows(verification: Verification) -> tuple[tuple[str, int, str, str], ...]:
    """Outcome, number of runs, share and meaning, over the ensemble."""
    outcomes = verification.ensemble.outcome
    return tuple(
        (
            outcome.word,
            int(np.sum(outcomes == outcome)),
            percent(verification.ensemble.share(outcome)),
            wording.OUTCOMES[outcome.word],
        )
        for outcome in Outcome
    )


def reason_rows(verification: Verification) -> tuple[tuple[str, int], ...]:
    """Why runs stopped themselves and how many did so, the most common first."""
    codes, counts = np.unique(verification.ensemble.reason, return_counts=True)
    told = [
        (verification.ensemble.reason_texts[int(code)], int(count))
        for code, count in zip(codes, counts, strict=True)
        if code
    ]
    return tuple(sorted(told, key=lambda each: -each[1]))


def start_rows(verification: Verification) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """Where runs started and how many of them ended in each outcome."""
    from homing.draws import Start

    ensemble = verification.ensemble
    return tuple(
        (
            Start(kind).words,
            tuple(int(np.sum(ensemble.outcome[ensemble.start == kind] == outcome)) for outcome in Outcome),
        )
        for kind in np.unique(ensemble.start)
    )


def fault_row(result: FaultResult) -> FaultRow:
    """Words for one fault."""
    shares = {outcome.word: percent(result.shares.get(outcome.word, 0.0)) for outcome in Outcome}
    return FaultRow(
        fault=result.fault.replace("_", " "),
        alters=result.alters,
        outcome=result.outcome.word,
        detected="yes" if result.detected else "NO",
        zeroed=shares["zeroed"],
        faulted=shares["faulted"],
        unsafe=shares["unsafe"],
        overtravel=_length(result.overtravel_mm),
        slack=_length(result.slack_mm),
        zero_error=_length(result.zero_error_mm),
        reason=result.common_reason or MISSING,
        runs=result.runs,
    )


def _length(mm: float) -> str:
    if abs(mm) >= 1e5:
        return f"{mm:.0e}"
    return plain(mm, min(decimals(mm), 1) if abs(mm) >= 10 else 2)


def fault_rows(verification: Verification) -> tuple[FaultRow, ...]:
    """All faults, in the order of the results."""
    return tuple(fault_row(result) for result in verification.faults)


def coverage_line(verification: Verification) -> str:
    """Diagnostic coverage with the assumption it rests on."""
    label = coverage_label(verification)
    if verification.program is not None:
        return "Diagnostic coverage: not for a program; its guards cannot be told from the rest of it."
    if verification.diagnostic_coverage is None:
        return f"Diagnostic coverage ({label}): none; no fault run was unsafe without the guards."
    return f"Diagnostic coverage ({label}): {percent(verification.diagnostic_coverage)}."


def coverage_label(verification: Verification) -> str:
    """How the faults were weighted."""
    rates = getattr(verification.lift, "fault_rates", None)
    return "weighted by [fault_rates]" if rates else wording.COVERAGE_LABEL


def metric_rows(run: Run) -> tuple[tuple[str, str, str], ...]:
    """Title, value with unit and meaning of every metric of one run."""
    return tuple(
        (word.title, measure(run.metrics[name], word.unit), word.meaning)
        for name, word in wording.METRICS.items()
        if name in run.metrics
    )


def longest_stop(run: Run) -> Stop | None:
    """The stop that counts: the longest of the run."""
    return max(run.stops, key=lambda stop: stop.distance_mm) if run.stops else None


def room_line(run: Run, stop: Stop) -> str:
    """How much room the stop left above the hard stop."""
    which = "The only stop" if len(run.stops) == 1 else f"The longest of {len(run.stops)} stops"
    end = (
        f"{plain(stop.deepest_mm, 1)} mm above the hard stop"
        if stop.deepest_mm >= 0.05
        else "at the hard stop: no room was left"
    )
    return f"{which} began at the trip height of {plain(stop.trip_mm, 1)} mm and ended {end}."


def run_line(run: Run) -> str:
    """One sentence about how a run ended."""
    who = "Nominal run" if run.index is None else f"Run {run.index} (start: {run.start})"
    return f"{who}: {run.outcome.word}" + (f", {run.reason}." if run.reason else ".")
