"""The mounting advice in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from homing.report.wording import title
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.compare.judged import Judged
    from homing.compare.results import MountAdvice
    from homing.liftfile import Lift

#: Requirements that a slower approach helps.
RUNS_PAST = ("overtravel_mm", "impact_speed_mm_s", "slack_mm")


def sentences(lift: Lift, base: Judged, advice: MountAdvice) -> tuple[str, ...]:
    """What to do, in the order of doing it."""
    said = [] if math.isnan(advice.best_mm) else [*_heights(lift, advice)]
    if not said:
        said = [*_no_height(lift, base, advice)]
    said.append(_fastest(lift, advice))
    if lift.routine.reference_mm is not None and not math.isnan(advice.best_mm):
        said.append("reference_mm goes with the mounting height: move it by as much.")
    return tuple(said)


def _heights(lift: Lift, advice: MountAdvice) -> list[str]:
    key = f"mount_mm of sensor {advice.sensor}"
    blocked = f"; below, {title(advice.blocking)} fails first" if advice.blocking else ""
    said = [
        f"At {advice.speed_mm_s:g} mm/s set {key} to {advice.best_mm:g} mm; from {advice.lowest_mm:g} mm "
        f"to {advice.highest_mm:g} mm every requirement holds{blocked} "
        f"(confirmed on {advice.confirmed_runs} runs or more)."
    ]
    if not math.isnan(advice.formula_lowest_mm):
        said.append(
            f"On paper a stop needs {advice.needed_mm:.1f} mm from the trip height to the hard stop, every "
            f"term "
            f"at its longest: a mounting height of {advice.formula_lowest_mm:.1f} mm."
        )
    return said


def _no_height(lift: Lift, base: Judged, advice: MountAdvice) -> list[str]:
    if lift.sensor().kind is SensorKind.STALL:
        return ["The hard stop itself is the sensor: there is nothing to mount, only a speed to choose."]
    if advice.blocking == "contact_damage":
        return [
            f"A switch {advice.sensor} low enough not to be crushed by the carriage on its hard stop is "
            f"too low "
            f"for {advice.speed_mm_s:g} mm/s: come slower, or give it a longer lever or a ramp."
        ]
    failing = {result.name: result for result in base.requirements}.get(advice.blocking)
    why = ""
    if failing is not None:
        why = (
            f": {title(failing.name)} reaches {failing.p99:.3g} {failing.unit} in 1 of 100 runs, "
            f"{failing.limit:g} {failing.unit} is allowed"
        )
    said = [
        f"At {advice.speed_mm_s:g} mm/s no mounting height of sensor {advice.sensor} saves this lift{why}."
    ]
    if not math.isnan(advice.needs_slow_zone_mm):
        said.append(
            f"Come slowly by encoder instead: slow_zone_mm = {advice.needs_slow_zone_mm:g} with "
            f"creep_speed_mm_s = {advice.slow_zone_speed_mm_s:g}, once the height is known (confirmed on "
            f"{advice.confirmed_runs} runs or more that start referenced). The first homing after power-up "
            "knows no height and must come slowly all the way."
        )
    elif advice.blocking in RUNS_PAST:
        said.append("No slow zone that was tried helps either: slow down or brake harder.")
    return said


def _fastest(lift: Lift, advice: MountAdvice) -> str:
    if lift.own_routine is not None:
        return "How fast the lift may come is not told: its own routine sets its speeds."
    if math.isnan(advice.fastest_mm_s):
        return "As it is mounted now, no approach speed makes every requirement hold."
    on_paper = ""
    if not math.isnan(advice.formula_fastest_mm_s):
        on_paper = f"; room for the terms on paper: up to {advice.formula_fastest_mm_s:.0f} mm/s"
    return (
        f"As it is mounted now, it may come in at up to {advice.fastest_mm_s:g} mm/s "
        f"(confirmed on {advice.confirmed_runs} runs or more{on_paper})."
    )
