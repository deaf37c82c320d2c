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
from numpy.typing import NDArray

from homing.compare.candidates import moved
from homing.compare.judged import FAR_OVER, Judged, Means, Pair, confirm, most_failures, try_runs
from homing.compare.responses import Responses
from homing.compare.seen import Loops
from homing.lift import MM
from homing.mountterms import fastest_mm_s, has_closed_form, needed_mm, terms
from homing.requirements import limit_of, requirements_for, values_of
from sensor_models.errors import InputError
from sensor_models.kinds import Approach

if TYPE_CHECKING:
    from homing.liftfile import Lift

Indices = NDArray[np.int64]

#: Telling runs: the nearest to each requirement's limit and to the stop, and as many that are any runs.
NEAREST_RUNS, ANY_RUNS = 12, 32
#: More failures than this among the latter show a rate over 1 % (at 0.6 % it happens once in 60).
MOST_OF_ANY = 1
#: Heights are told to this [mm], the highest to more, as nothing breaks there; speeds to this share.
HEIGHT_STEP_MM, HIGHEST_STEP_MM, SPEED_SHARE = 0.5, 2.0, 0.03
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


@dataclass(frozen=True)
class Study:
    """What all questions about one sensor's mounting share."""

    lift: Lift
    runs: int
    means: Means
    responses: Responses
    loops: Loops

    @property
    def mount_key(self) -> str:
        return f"sensor.{self.lift.sensor().name}.mount_mm"

    @property
    def mount_mm(self) -> float:
        return self.lift.quantities()[self.mount_key]

    @property
    def trip_mm(self) -> float:
        """Nominal trip height at the file's own mounting [mm]."""
        return float(self.responses.nominal.trip_m[0]) / MM

    @property
    def speed_mm_s(self) -> float:
        return self.lift.routine.fast_speed_mm_s

    @property
    def spread_mm(self) -> float:
        """Nominal trip height less the one that all but the allowed share of the draws keep [mm]."""
        allowed = self.lift.requirements.allowed_failure_rate
        return max(self.trip_mm - self.responses.lowest_trip_m(allowed) / MM, 0.0)

    @property
    def floor_mm(self) -> float:
        """Mounting height at which the sensor trips at the hard stop itself [mm]."""
        return self.mount_mm - self.trip_mm

    @property
    def ceiling_mm(self) -> float:
        """Mounting height above which there is nothing to look for [mm].

        Head on, the magnet would hit the switch; a contact would be crushed before the stop bears the
        carriage.
        """
        head_on = getattr(self.lift.sensor(), "approach", None) is Approach.HEAD_ON
        travel_mm, crushed_mm = (
            self.lift.lift.travel_mm,
            float(np.min(self.responses.sensor.damage_depth_m)) / MM,
        )
        return min(travel_mm + self.floor_mm, travel_mm, 0.0 if head_on else math.inf, crushed_mm)

    def at(self, mount_mm: float) -> Lift | None:
        """The lift with its sensor at another height; None when that cannot be."""
        try:
            return moved(self.lift, {self.mount_key: mount_mm})
        except InputError:
            return None

    def at_speed(self, speed_mm_s: float) -> Lift | None:
        """The lift with another approach speed, the slow one never above it; None with an own table."""
        if self.lift.own_routine is not None:
            return None
        slow_mm_s = min(self.lift.routine.creep_speed_mm_s, speed_mm_s)
        try:
            return self.lift.replace(
                {"routine.fast_speed_mm_s": speed_mm_s, "routine.creep_speed_mm_s": slow_mm_s}
            )
        except InputError:
            return None

    @property
    def as_mounted(self) -> Pair:
        """Responses of the sensor where it is, which the lift's speed does not change."""
        return self.responses.nominal, self.responses.drawn

    def holds(self, lift: Lift | None, indices: Indices, responses: Pair = None) -> bool:
        """True when so few of these runs fail that the whole ensemble may still hold."""
        found = try_runs(lift, indices, self.means, responses) if lift is not None else None
        if found is None or found.nominal:
            return False
        allowed = most_failures(self.runs, self.lift.requirements.allowed_failure_rate)
        among_any = max(int(bad[indices < ANY_RUNS].sum()) for bad in found.runs.values())
        return found.worst()[1] <= allowed and among_any <= MOST_OF_ANY

    def confirmed(self, lift: Lift | None) -> Judged | None:
        """The whole ensemble of a changed lift if every requirement holds, else None."""
        return confirm(lift, self.runs, self.means).whole if lift is not None else None


def telling_runs(whole: Judged) -> Indices:
    """Numbers of the runs nearest to any limit or to the hard stop, and of some that are any runs."""
    chosen = [np.arange(min(ANY_RUNS, len(whole.ensemble)))]
    for each in requirements_for(whole.setting.lift):
        limit = limit_of(whole.setting.lift, each)
        values = np.nan_to_num(values_of(each, whole.ensemble), nan=np.inf if each.missing_fails else -np.inf)
        if limit > 0.0:
            chosen.append(np.argsort(-values, kind="stable")[:NEAREST_RUNS])
        else:
            chosen.append(np.flatnonzero(values > limit)[:NEAREST_RUNS])
    clearance = np.nan_to_num(whole.clearance_mm, nan=np.inf)
    chosen.append(np.argsort(clearance, kind="stable")[: 2 * NEAREST_RUNS])
    return np.unique(np.concatenate(chosen)).astype(np.int64)


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
    responses: Pair = None
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


def down(height_mm: float) -> float:
    """The next told height that is not above."""
    return math.floor(round(height_mm / HEIGHT_STEP_MM, 6)) * HEIGHT_STEP_MM


def up(height_mm: float) -> float:
    """The next told height that is not below."""
    return math.ceil(round(height_mm / HEIGHT_STEP_MM, 6)) * HEIGHT_STEP_MM
