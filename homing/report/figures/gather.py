"""All pictures of a verification, named and captioned, in the order of the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from matplotlib.figure import Figure

from homing.report.figures.budget import stop_budget
from homing.report.figures.distributions import distributions
from homing.report.figures.faults import fault_shares
from homing.report.figures.routine import routine_diagram
from homing.report.figures.sensor import sensor_response
from homing.report.figures.timeline import timeline
from homing.results import Run, Verification
from homing.routine import Table


@dataclass(frozen=True)
class Picture:
    """One figure with the name of its files and a caption that says what can be seen."""

    name: str
    caption: str
    figure: Figure


def all_figures(verification: Verification, table: Table | None) -> tuple[Picture, ...]:
    """Draw everything there is something to draw of."""
    pictures = [_nominal(verification)]
    if verification.sensor is not None:
        pictures.append(_sensor(verification))
    if verification.nominal.stops:
        pictures.append(_budget(verification))
    pictures.append(_spread(verification))
    if verification.worst_runs:
        pictures.append(_worst(verification))
    if verification.faults:
        pictures.append(_faults(verification))
    if table is not None:
        pictures.append(_routine(table))
    return tuple(pictures)


def _nominal(verification: Verification) -> Picture:
    caption = (
        "The nominal run. Carriage and spool height part where the string is slack or stretched; thin "
        "upright lines mark changes of phase."
    )
    return Picture("nominal_run", caption, timeline(verification.nominal, verification.sensor))


def _worst(verification: Verification) -> Picture:
    run = max(verification.worst_runs, key=lambda each: (each.outcome, _reach(each)))
    caption = (
        f"Run {run.index}, of the worst runs kept the one that went furthest ({run.outcome.word}). The "
        "shaded heights are those of the nominal sensor; this run's own may differ."
    )
    return Picture("worst_run", caption, timeline(run, verification.sensor))


def _reach(run: Run) -> float:
    overtravel_mm = run.metrics.get("overtravel_mm", math.nan)
    return 0.0 if math.isnan(overtravel_mm) else overtravel_mm


def _sensor(verification: Verification) -> Picture:
    caption = (
        "What the sensor reads along the travel, nominal and over the tolerances, and where it is made. "
        "Hatched in the trip zone: heights at which it may trip. Steep curves are on a logarithm "
        "above the operate point."
    )
    assert verification.sensor is not None
    return Picture("sensor_response", caption, sensor_response(verification.sensor))


def _budget(verification: Verification) -> Picture:
    caption = (
        "Stop budget: where the millimetres between the trip height and the deepest point went. A part left "
        "of zero gives millimetres back. The triangle is the hard stop of that run."
    )
    return Picture("stop_budget", caption, stop_budget((verification.nominal, *verification.worst_runs[:4])))


def _spread(verification: Verification) -> Picture:
    caption = (
        f"Overtravel and zero error of {len(verification.ensemble)} runs over the tolerances, against their "
        "limits. A cross on the axis is a run beyond its limit."
    )
    return Picture("distributions", caption, distributions(verification))


def _faults(verification: Verification) -> Picture:
    caption = (
        "How the runs of each injected fault ended. Faults in bold letters had a run that was unsafe: the "
        "routine did not notice in time."
    )
    return Picture("faults", caption, fault_shares(verification))


def _routine(table: Table) -> Picture:
    caption = (
        "The routine. Of the ways out of a phase the first whose conditions hold is taken; numbers are rows "
        "of the table. Shaded: the lift is told to move. Dashed: gives up, with the reason."
    )
    return Picture("routine", caption, routine_diagram(table))
