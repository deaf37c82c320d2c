"""The worst case, a played case and small probabilities in words and as JSON."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from homing.report import wording

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.rare.study import SmallRate
    from homing.results import Run
    from homing.worst.case import Case
    from homing.worst.study import WorstCase


def worst_lines(worst: WorstCase) -> list[str]:
    """What was found, how hard it was looked for, and what brings it about."""
    lines = [_found(worst), f"Tried: {worst.tried} runs, then {worst.shrinking} to make it smaller."]
    lines += [f"  {_title(each.requirement)}: {_least(each.margin, each.failing)}" for each in worst.least]
    if worst.departures:
        lines.append("Departures from nominal that bring it about; all else is as the lift file says:")
        lines += [f"  {each.what}: {each.value} (nominal {each.nominal})" for each in worst.departures]
    else:
        lines.append("It needs no departure from nominal: the nominal run is the worst one.")
    return [*lines, _how(worst.run)]


def _found(worst: WorstCase) -> str:
    what = _title(worst.case.requirement)
    if worst.fails:
        return f"Worst case: {what} fails, {_share(-worst.margin)} of its limit beyond it."
    return (
        f"Worst case: nothing found that fails in {worst.tried} runs, which proves nothing; the nearest is "
        f"{what}, "
        f"{_share(worst.margin)} of its limit away."
    )


def _least(margin: float, failing: int) -> str:
    if failing:
        return f"{failing} runs failed"
    return f"none failed, least margin {_share(margin)} of the limit" if margin <= 1.0 else "never came near"


def _share(margin: float) -> str:
    return f"{margin:.0%}" if margin >= 0.1 else f"{margin:.1%}"


def _title(name: str) -> str:
    return wording.title(name)


def _how(run: Run) -> str:
    who = "It" if run.index is None else f"It (loops of run {run.index})"
    reason = f", {run.reason}" if run.reason else ""
    return f"{who} starts {run.start} and ends {run.outcome.word}{reason}."


def case_note(worst: WorstCase) -> str:
    """Comment at the head of a case file."""
    lines = [_found(worst), "Play it again: downstop verify --case FILE", "Away from nominal:"]
    return "\n".join(
        [*lines, *(f"  {each.what}: {each.value} (nominal {each.nominal})" for each in worst.departures)]
    )


def worst_json(worst: WorstCase) -> dict[str, Any]:
    """The worst case for ``verify``'s JSON."""
    return {
        "found": worst.fails,
        "requirement": worst.case.requirement,
        "margin": _finite(worst.margin),
        "runs_tried": worst.tried,
        "runs_shrinking": worst.shrinking,
        "least_margins": [
            {"requirement": each.requirement, "margin": _finite(each.margin), "failing": each.failing}
            for each in worst.least
        ],
        "departures": [
            {"what": each.what, "nominal": each.nominal, "value": each.value} for each in worst.departures
        ],
        "run": _run(worst.run),
    }


def played_lines(lift: Lift, case: Case, run: Run, margin: float) -> list[str]:
    """What became of a case on a lift."""
    from homing.worst.case import lift_mark

    what = _title(case.requirement)
    verdict = (
        f"fails, {_share(-margin)} of its limit beyond it"
        if margin < 0.0
        else f"holds, {_share(margin)} left"
    )
    lines = [f"Case: {what} {verdict}. {_how(run)}"]
    if lift_mark(lift) != case.lift_mark:
        lines.append(
            f"The lift file is not the one this case was found on, where its margin was {case.margin:.4g}."
        )
    elif margin != case.margin:
        lines.append(
            f"Its margin was {case.margin!r} when it was found; another version of the program plays it."
        )
    else:
        lines.append("It is the very run that was found.")
    lines += [
        f"  {wording.title(name)}: {value:.4g}" for name, value in run.metrics.items() if value == value
    ]
    return lines


def played_json(lift: Lift, case: Case, run: Run, margin: float) -> dict[str, Any]:
    """A played case as JSON: the run as ``verify --run`` gives it, and its margin."""
    from homing.report.jsonform import run_json
    from homing.worst.case import lift_mark

    return {
        **run_json(run, lift),
        "requirement": case.requirement,
        "margin": _finite(margin),
        "margin_when_found": _finite(case.margin),
        "same_lift": lift_mark(lift) == case.lift_mark,
    }


def rate_lines(rates: tuple[SmallRate, ...]) -> list[str]:
    """Small failure rates, a line each."""
    if not rates:
        return ["Small probabilities: none to estimate, every requirement was seen to fail."]
    head = "Failure rates that the ensemble did not see, by subset simulation (the interval is 95 % sure):"
    return [head, *(f"  {_title(each.requirement)}: {_rate(each)}" for each in rates)]


def _rate(each: SmallRate) -> str:
    found = each.found
    if found.probability is None:
        return f"{found.why} ({found.runs} runs); what the ensemble bounds stands"
    rough = f"; {found.why}" if found.why else ""
    return f"{found.probability:.1e} ({found.low:.1e} to {found.high:.1e}; {found.runs} runs){rough}"


def rates_json(rates: tuple[SmallRate, ...]) -> list[dict[str, Any]]:
    """Small failure rates for ``verify``'s JSON."""
    return [
        {
            "requirement": each.requirement,
            "failure_probability": each.found.probability,
            "ci_low": each.found.low,
            "ci_high": each.found.high,
            "confidence": each.found.confidence,
            "runs": each.found.runs,
            "why": each.found.why,
        }
        for each in rates
    ]


def _run(run: Run) -> dict[str, Any]:
    figures = {name: _finite(value) for name, value in run.metrics.items()}
    return {
        "run": run.index,
        "start": run.start,
        "outcome": run.outcome.word,
        "reason": run.reason,
        **figures,
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
