"""The searches behind the mounting advice: a height that holds, the lowest, the highest, the fastest
approach.

On the way to an answer only telling runs are made (``telling_runs``): lowering the sensor by a millimetre, or
coming in faster, brings every run nearer to its limits, so the runs that are nearest fail first. Each answer
is then put to the whole ensemble. Where that fails, the runs that failed join the telling ones, and the
search goes on between what is known to hold and what was refused.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from homing.compare.judged import FAR_OVER, Judged, confirm
from homing.mounting.study import HEIGHT_STEP_MM, Indices, Study, down, telling_runs, up
from homing.mounting.terms import fastest_mm_s, has_closed_form, needed_mm, terms

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Known

#: The highest is told to this [mm], coarser than others, as nothing breaks there; speeds to this share.
HIGHEST_STEP_MM, SPEED_SHARE = 2.0, 0.03
#: A larger share of failing runs, and the answer was far off: the telling runs lacked some kind of run.
GROSS_SHARE = 0.05
#: So many of the runs that failed join the telling ones.
MOST_JOINING = 24
#: Answers that are put to the whole ensemble before the last one that held is kept.
MOST_CONFIRMATIONS = 8
#: Trip heights at which to look for one that holds, when the file's own does not [mm].
FIRST_HEIGHT_MM, HEIGHT_FACTOR = 4.0, 1.25
#: A height this little above the ceiling is on it.
ROUNDING_MM = 1e-6
#: First step up in search of the highest; it doubles [mm].
FIRST_STEP_MM = 16.0
#: Steps of the ladder of speeds.
SPEED_FACTOR = 1.1


def one_that_holds(study: Study, base: Judged) -> tuple[float, Judged] | None:
    """A mounting height that holds and its ensemble: the file's own, else the lowest of a ladder."""
    if base.passed and study.mount_mm <= study.ceiling_mm + ROUNDING_MM:
        return study.mount_mm, base
    trip_mm = FIRST_HEIGHT_MM
    while study.floor_mm + trip_mm <= study.ceiling_mm:
        whole = study.confirmed(study.at(up(study.floor_mm + trip_mm)))
        if whole is not None:
            return up(study.floor_mm + trip_mm), whole
        trip_mm *= HEIGHT_FACTOR
    return None


def lowest(study: Study, start_mm: float, holds: Judged) -> float:
    """Lowest mounting height around one that holds [mm]."""
    telling, bad, good = telling_runs(holds), down(study.floor_mm), start_mm
    clear = free_height(start_mm, holds)
    if not math.isnan(clear) and bad < up(clear) < start_mm and study.holds(study.at(up(clear)), telling):
        good = up(clear)
    return _edge(Search(study, study.at, telling, start_mm, HEIGHT_STEP_MM), good, bad)


def highest(study: Study, start_mm: float, holds: Judged) -> float:
    """Highest mounting height around one that holds [mm]: steps that double, then halving."""
    telling, top = telling_runs(holds), max(down(study.ceiling_mm), start_mm)
    good, step = start_mm, FIRST_STEP_MM
    while good < top and study.holds(study.at(min(good + step, top)), telling):
        good, step = min(good + step, top), 2.0 * step
    bad = min(good + step, top) if good < top else top + HIGHEST_STEP_MM
    search = Search(study, study.at, telling, start_mm, HIGHEST_STEP_MM, patient=False)
    return _edge(search, good, bad)


def fastest(study: Study, base: Judged) -> float:
    """Fastest approach with which the file's own mounting holds [mm/s]; NaN: none."""
    now, top = study.speed_mm_s, study.lift.drive.free_speed_mm_s
    if study.at_speed(now) is None:
        return math.nan
    telling, step = telling_runs(base), max(1.0, math.floor(SPEED_SHARE * now))
    sure, bad = (now, top + step) if base.passed else (0.0, now)
    good, guess = sure, _guess(study, base)
    at = math.floor(guess) if sure < guess < bad else sure
    search = Search(study, study.at_speed, telling, sure, step, study.as_mounted, patient=False)
    while at > sure and not search.holds(at, telling):
        bad, at = at, max(math.floor(at / SPEED_FACTOR), sure)
    good = at
    while (at := math.floor(good * SPEED_FACTOR)) < bad and at > good:
        if not search.holds(at, telling):
            bad = at
            break
        good = at
    found = _edge(search, float(good), float(bad))
    return found if found > 0.0 else math.nan


@dataclass(frozen=True)
class Search:
    """One number that is sought: ``change`` makes a lift of it, ``sure`` is one that is known to hold.

    ``patient``: it is worth a whole ensemble to come a step nearer.
    """

    study: Study
    change: Callable[[float], Lift | None]
    telling: Indices
    sure: float
    step: float
    responses: Known | None = None
    patient: bool = True

    def holds(self, number: float, telling: Indices) -> bool:
        """True when so few of these runs fail that the whole ensemble may still hold."""
        return self.study.holds(self.change(number), telling, self.responses)

    def halved(self, good: float, bad: float, telling: Indices) -> float:
        """The number nearest to ``bad``, to a step, with which these runs hold."""
        while abs(bad - good) > self.step:
            steps = max(1, round(0.5 * abs(bad - good) / self.step))
            middle = good + math.copysign(steps * self.step, bad - good)
            good, bad = (middle, bad) if self.holds(middle, telling) else (good, middle)
        return good


def _edge(search: Search, good: float, bad: float) -> float:
    """The number nearest to ``bad`` with which the whole ensemble holds; ``sure`` if nothing nearer does.

    An answer that many runs refuse is sought again with their help; one that just fails gives way a little.
    """
    telling, give_way = search.telling, search.step
    good = search.halved(good, bad, telling)
    for _ in range(MOST_CONFIRMATIONS):
        lift = search.change(good) if good != search.sure else None
        if lift is None:
            break
        study = search.study
        found = confirm(lift, study.runs, study.means, search.responses, patient=search.patient)
        if found.whole is not None:
            return good
        joining = found.failing[:: max(1, len(found.failing) // MOST_JOINING)]
        telling, share = np.union1d(telling, joining), len(found.failing) / max(found.runs, 1)
        if share > GROSS_SHARE:
            good = search.halved(search.sure, good, telling)
            continue
        left = abs(good - search.sure)
        if share > FAR_OVER * search.study.lift.requirements.allowed_failure_rate:
            give_way *= 2.0
        good -= math.copysign(min(give_way, left), good - search.sure)
        give_way *= 2.0
    return search.sure


def free_height(start_mm: float, holds: Judged) -> float:
    """Mounting height from which no run comes as far as the hard stop [mm]; NaN: unknown."""
    clearance = holds.clearance_mm
    return start_mm - float(np.nanmin(clearance)) if not np.isnan(clearance).all() else math.nan


def _guess(study: Study, base: Judged) -> float:
    """Speed at which the terms have grown by what is left of the limit and of the room [mm/s]."""
    if not has_closed_form(study.lift):
        return math.nan
    now = needed_mm(terms(study.lift, study.speed_mm_s, 0.0, study.loops))
    allowed = study.lift.requirements.allowed_failure_rate
    left = min(base.margin_mm, float(np.nanquantile(base.clearance_mm, allowed)))
    return fastest_mm_s(study.lift, now + left, 0.0, study.loops) if now + left > 0.0 else math.nan
