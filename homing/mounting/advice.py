"""Mounting advice: how low and how high a sensor may sit, where best, how fast the lift may then come.

Flow of ``advise_mounting``::

    terms on paper (terms) -> a height that holds -> lowest, highest, best, fastest (study, search)
                              none holds          -> a slow zone (slow)
    -> in words (words)

A height holds when every requirement does. Lowest and highest bound the stretch around one height that holds;
others farther away are not looked for. The best height is the lowest from which no run comes as far as the
hard stop: above it nothing is gained and travel is lost. Where that is higher than allowed, it is the middle.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from homing.compare.judged import BELIEVED_RUNS, Judged, Means, judged, try_runs
from homing.compare.responses import Responses, responses_of
from homing.compare.results import MountAdvice, Term
from homing.compare.seen import loops_of
from homing.mounting.search import fastest, free_height, highest, lowest, one_that_holds
from homing.mounting.study import HEIGHT_STEP_MM, Study, telling_runs, up
from homing.mounting.terms import fastest_mm_s, needed_mm, terms
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift

First = TypeVar("First")
Second = TypeVar("Second")

#: What blocks a contact that is low enough not to be crushed by the carriage on its stop.
CRUSHED = "contact_damage"
#: Below the lowest height by so many steps it is asked which requirement stopped it.
BLOCKED_STEPS = 4


@dataclass(frozen=True)
class Heights:
    """Lowest, highest and best mounting height [mm], what confirmed the best, and what blocks below."""

    lowest: float
    highest: float
    best: float
    at_best: Judged
    blocking: str


def advise_mounting(
    lift: Lift,
    runs: int = 2000,
    means: Means | None = None,
    *,
    responses: Responses | None = None,
    base: Judged | None = None,
) -> MountAdvice:
    """Say how high the routine's sensor must and may sit, and how fast the lift may come.

    Parameters
    ----------
    lift : Lift
        Its routine's sensor is the one to mount.
    runs : int
        Runs that confirm each answer.
    means : Means, optional
        Seed, measured loop periods, cores.
    responses, base : optional
        The sensor's responses and the lift's own judged ensemble of ``runs`` runs, if at hand.

    Returns
    -------
    MountAdvice

    Raises
    ------
    InputError
        When the sensor is never made.
    """
    means = Means() if means is None else means
    base = judged(lift, runs, means) if base is None else base
    responses = responses_of(lift, means.seed) if responses is None else responses
    study = Study(lift, runs, means, responses, loops_of(lift, means.periods_s))
    if lift.sensor().kind is SensorKind.STALL:
        return _advice(study, base, None, fastest(study, base))
    heights, speed = _at_once(partial(_heights, study, base), partial(fastest, study, base))
    return _advice(study, base, heights, speed)


def _at_once(first: Callable[[], First], second: Callable[[], Second]) -> tuple[First, Second]:
    """Two searches at the same time: each makes few runs at once, too few to share out over the cores."""
    with ThreadPoolExecutor(1) as pool:
        other = pool.submit(first)
        found = second()
        return other.result(), found


def _heights(study: Study, base: Judged) -> Heights | None:
    found = one_that_holds(study, base)
    if found is None:
        return None
    start_mm, holds = found
    low, high = _at_once(partial(lowest, study, start_mm, holds), partial(highest, study, start_mm, holds))
    clear = up(free_height(start_mm, holds))
    best = max(clear, low) if clear <= high else up(0.5 * (low + high))
    at_best = holds if best == start_mm else study.confirmed(study.at(best))
    if at_best is None:
        best, at_best = start_mm, holds
    return Heights(low, high, best, at_best, _blocking(study, low, holds))


def _blocking(study: Study, lowest_mm: float, holds: Judged) -> str:
    """The requirement that most runs miss a little below the lowest height."""
    lift = study.at(lowest_mm - BLOCKED_STEPS * HEIGHT_STEP_MM)
    found = try_runs(lift, telling_runs(holds), study.means) if lift is not None else None
    if found is None:
        return ""
    return found.nominal[0] if found.nominal else found.worst()[0]


def _blocking_everywhere(study: Study, base: Judged) -> str:
    """The requirement that most runs miss at the file's own mounting, or that it would crush a contact."""
    failing = [result for result in base.requirements if not result.passed]
    if failing:
        return max(failing, key=lambda result: result.failures).name
    return CRUSHED if study.mount_mm > study.ceiling_mm else ""


def _advice(study: Study, base: Judged, heights: Heights | None, speed: float) -> MountAdvice:
    from homing.mounting.slow import slow_zone
    from homing.mounting.words import sentences

    lift, nothing = study.lift, math.nan
    found = terms(lift, study.speed_mm_s, study.spread_mm, study.loops)
    needed = needed_mm(found)
    best_trip_mm = (heights.best if heights else study.mount_mm) - study.floor_mm
    left = Term("margin", "trip height at the best mounting less all of these", best_trip_mm - needed)
    mountable = lift.sensor().kind is not SensorKind.STALL
    zone = slow_zone(study, speed) if heights is None and mountable else None
    advice = MountAdvice(
        sensor=lift.sensor().name,
        speed_mm_s=study.speed_mm_s,
        lowest_mm=heights.lowest if heights else nothing,
        highest_mm=heights.highest if heights else nothing,
        best_mm=heights.best if heights else nothing,
        fastest_mm_s=speed,
        formula_lowest_mm=needed + study.floor_mm if mountable else nothing,
        formula_fastest_mm_s=fastest_mm_s(lift, study.trip_mm, study.spread_mm, study.loops),
        terms=(*found, left),
        needed_mm=needed,
        margin_at_best_mm=heights.at_best.margin_mm if heights else nothing,
        confirmed_runs=min(study.runs, BELIEVED_RUNS) if heights or zone or not math.isnan(speed) else 0,
        needs_slow_zone_mm=zone.size_mm if zone else nothing,
        slow_zone_speed_mm_s=zone.speed_mm_s if zone else nothing,
        blocking=heights.blocking if heights else _blocking_everywhere(study, base),
        sentences=(),
    )
    return replace(advice, sentences=sentences(lift, base, advice))
