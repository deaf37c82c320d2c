"""The worst case and a played case in words and as JSON."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from homing.report import wording

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import Run
    from homing.worst.case import Case
    from homing.worst.study import Least, WorstCase

NO_DEPARTURE = "It needs no departure from nominal: the nominal run is the worst one."


def worst_lines(worst: WorstCase) -> list[str]:
    """What was found, how hard it was looked for, and what brings it about."""
    lines = [found(worst), tried(worst)]
    lines += [f"  {_title(each.requirement)}: {least(each, worst.tried)}" for each in worst.least]
    lines += limits_of_search(worst)
    if worst.departures:
        lines.append("Departures from nominal that bring it about; all else is as the lift file says:")
        lines += [f"  {each.what}: {each.value} (nominal: {each.nominal})" for each in worst.departures]
    else:
        lines.append(NO_DEPARTURE)
    return [*lines, how(worst.run, worst.lift)]


def found(worst: WorstCase) -> str:
    """The worst case as one sentence."""
    what, early = _title(worst.case.requirement), " (ended early by Ctrl-C)" if worst.interrupted else ""
    if worst.fails:
        return f"Worst case{early}: {what} fails, {beyond(worst.margin, worst.unit)}."
    return (
        f"Worst case{early}: nothing found that fails in {worst.tried} runs, which proves nothing; the "
        f"nearest is {what}, {away(worst.margin, worst.unit)}."
    )


def tried(worst: WorstCase) -> str:
    """How much was tried, and what was varied in it."""
    return (
        f"Tried: {worst.tried} runs, then {worst.shrinking} to make it smaller. "
        f"Varied: {', '.join(_varied(worst.searched))}."
    )


def _varied(names: tuple[str, ...]) -> list[str]:
    """Searched coordinates, those that belong together in one."""
    told: dict[str, str] = {}
    tolerances = sum("." in name for name in names)
    for name in names:
        if "." in name:
            told["tolerances"] = f"{tolerances} tolerance{'s' if tolerances > 1 else ''}"
        else:
            stem = name.removeprefix("place of ").split(":")[0].split(" towards")[0].split(" sideways")[0]
            told[stem] = stem
    return list(told.values())


def limits_of_search(worst: WorstCase) -> list[str]:
    """What was not searched, and why."""
    lines = []
    if "late loop" not in worst.searched:
        lines.append("Late loops were not searched: the lift, as its file or log has it, has none.")
    if worst.left_out:
        names = ", ".join(_title(name) for name in worst.left_out)
        lines.append(f"Not searched, since with a fault a good run may end faulted without them: {names}.")
    return lines


def least(each: Least, tried: int) -> str:
    """How near one requirement came to failing, over the runs on which it was measured."""
    where = "" if each.measured == tried else f" (measured on {each.measured} of the runs)"
    if each.failing:
        return f"{each.failing} runs failed{where}"
    if each.unit is None and each.margin > 1.0:
        return f"never came near{where}"
    size = f"{share(each.margin)} of the limit" if each.unit is None else _with_unit(each.margin, each.unit)
    return f"none failed, least margin {size}{where}"


def beyond(margin: float, unit: str | None) -> str:
    """By how much a failing run misses a requirement."""
    return f"{share(-margin)} of its limit beyond it" if unit is None else f"by {_with_unit(-margin, unit)}"


def away(margin: float, unit: str | None) -> str:
    """How much room a run leaves."""
    return f"{share(margin)} of its limit away" if unit is None else f"{_with_unit(margin, unit)} away"


def _with_unit(value: float, unit: str) -> str:
    return f"{value:.3g} {unit}".rstrip()


def share(margin: float) -> str:
    """A share in per cent, with a digit more where it is small."""
    return f"{margin:.0%}" if margin >= 0.1 else f"{margin:.1%}"


def _title(name: str) -> str:
    return wording.title(name)


def how(run: Run, lift: Lift) -> str:
    """How a run starts, when its loops are late, and how it ends."""
    who = "It" if run.index is None else f"It (loops of run {run.index})"
    reason = f", {run.reason}" if run.reason else ""
    late = [f"{start:.3f} to {end:.3f} s" for start, end in late_loops_s(run, lift)]
    told = (
        f" One loop lasts from {late[0]}."
        if len(late) == 1
        else f" Late loops: {', '.join(late)}."
        if late
        else ""
    )
    return f"{who} starts {run.start} and ends {run.outcome.word}{reason}.{told}"


def late_loops_s(run: Run, lift: Lift) -> list[tuple[float, float]]:
    """Start and end of every overlong loop of a run [s]."""
    from homing.kernel.observe import LONG_LOOP

    ends = run.trace["t_s"]
    starts = np.concatenate([[0.0], ends[:-1]])
    late = ends - starts > LONG_LOOP * lift.controller.period_ms * 1e-3
    return list(zip(starts[late].tolist(), ends[late].tolist(), strict=True))


def case_note(worst: WorstCase) -> str:
    """Comment at the head of a case file."""
    again = "downstop verify --case FILE"
    again += "" if worst.case.timing_mark is None else " --timing-from LOG (the log that it was found with)"
    lines = [found(worst), f"Play it again: {again}", "Away from nominal:"]
    return "\n".join(
        [*lines, *(f"  {each.what}: {each.value} (nominal: {each.nominal})" for each in worst.departures)]
    )


def worst_json(worst: WorstCase) -> dict[str, Any]:
    """The worst case for ``verify``'s JSON; a margin is a share of the limit where its unit is null."""
    return {
        "found": worst.fails,
        "requirement": worst.case.requirement,
        "margin": _finite(worst.margin),
        "margin_unit": worst.unit,
        "runs_tried": worst.tried,
        "runs_shrinking": worst.shrinking,
        "interrupted": worst.interrupted,
        "varied": list(worst.searched),
        "requirements_left_out": list(worst.left_out),
        "least_margins": [
            {
                "requirement": each.requirement,
                "margin": _finite(each.margin),
                "margin_unit": each.unit,
                "failing": each.failing,
                "runs": each.measured,
            }
            for each in worst.least
        ],
        "departures": [
            {"what": each.what, "nominal": each.nominal, "value": each.value} for each in worst.departures
        ],
        "run": _run(worst.run, worst.lift),
    }


def played_lines(lift: Lift, case: Case, run: Run, margin: float) -> list[str]:
    """What became of a case on a lift."""
    from homing.worst.case import lift_mark

    what, unit = _title(case.requirement), unit_of(lift, case.requirement)
    left = f"{share(margin)} left" if unit is None else f"{_with_unit(margin, unit)} left"
    verdict = f"fails, {beyond(margin, unit)}" if margin < 0.0 else f"holds, {left}"
    lines = [f"Case: {what} {verdict}. {how(run, lift)}"]
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


def unit_of(lift: Lift, requirement: str) -> str | None:
    """Unit in which a requirement's margin is told; None: as a share of its limit."""
    return next((each.unit for each in lift.own_requirements if each.name == requirement), None)


def played_json(lift: Lift, case: Case, run: Run, margin: float) -> dict[str, Any]:
    """A played case as JSON: the run as ``verify --run`` gives it, and its margin."""
    from homing.report.jsonform import run_json
    from homing.worst.case import lift_mark

    return {
        **run_json(run, lift),
        "requirement": case.requirement,
        "margin": _finite(margin),
        "margin_unit": unit_of(lift, case.requirement),
        "margin_when_found": _finite(case.margin),
        "same_lift": lift_mark(lift) == case.lift_mark,
    }


def _run(run: Run, lift: Lift) -> dict[str, Any]:
    figures = {name: _finite(value) for name, value in run.metrics.items()}
    return {
        "run": run.index,
        "start": run.start,
        "outcome": run.outcome.word,
        "reason": run.reason,
        "late_loops_s": [list(each) for each in late_loops_s(run, lift)],
        **figures,
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
