"""Runs of a changed lift, judged: what trials, confirmations and the comparison itself have in common."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.requirements import CONFIDENCE, failing, judge, limit_of, requirements_for, values_of
from homing.setting import Known, prepare
from homing.statistics import upper_bound
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import Ensemble, RequirementResult
    from homing.setting import Setting

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Progress = Callable[[str, int, int], None]

#: Looks at an ensemble that is still being made, after so many runs; from the second on it may be believed.
LOOKS = (250, 600, 1010, 1460)
BELIEVED_RUNS = LOOKS[1]
#: It is believed where this is the confidence that few enough runs fail: each further look is another chance
#: to be wrong, so that it is more than the whole ensemble is asked for.
CONFIDENCE_AT_LOOK = 0.99
#: A lift that fails this many times as often as is allowed, and more than a few times, is given up at a look;
#: from half of the runs on, one that fails more often than allowed at all: little is lost, nothing risked.
FAR_OVER, A_FEW = 2.0, 5
#: Requirements that hang on the sensor and its place; time and current hardly do.
SENSOR_REQUIREMENTS = ("overtravel_mm", "impact_speed_mm_s", "slack_mm", "zero_error_mm")


@dataclass(frozen=True)
class Means:
    """How runs are made: which random numbers, measured loop periods if any, and on which cores."""

    seed: int = 0
    periods_s: Floats | None = None
    executor: Executor | None = None
    workers: int | None = None


@dataclass(frozen=True)
class Judged:
    """An ensemble with its nominal run, and the requirements held against both."""

    setting: Setting
    nominal: Ensemble
    ensemble: Ensemble
    requirements: tuple[RequirementResult, ...]

    @property
    def passed(self) -> bool:
        return all(result.passed for result in self.requirements)

    @property
    def margin_mm(self) -> float:
        """Overtravel limit less the overtravel that 99 of 100 runs keep."""
        return self.requirement("overtravel_mm").margin

    @property
    def least_margin(self) -> float:
        """Smallest 1 - p99 / limit of the requirements that hang on the sensor; NaN: none exists."""
        margins = [
            result.margin / result.limit for result in self.requirements if result.name in SENSOR_REQUIREMENTS
        ]
        known = [margin for margin in margins if not np.isnan(margin)]
        return min(known, default=float("nan"))

    @property
    def clearance_mm(self) -> Floats:
        """Trip height less overtravel of every run, (n,): room left to the hard stop; NaN: never stopped."""
        metrics = self.ensemble.metrics
        return np.asarray(metrics["trip_mm"] - metrics["overtravel_mm"])

    def requirement(self, name: str) -> RequirementResult:
        """One of the requirements by name."""
        return next(result for result in self.requirements if result.name == name)


def judged(
    lift: Lift, runs: int, means: Means, setting: Setting | None = None, progress: Progress | None = None
) -> Judged:
    """Run a lift's ensemble and judge it.

    Raises
    ------
    InputError
        When its sensor is never made.
    """
    setting = prepare(lift, means.seed, means.periods_s) if setting is None else setting
    indices = np.arange(runs, dtype=np.int64)
    told = None if progress is None else (lambda done, of: progress(lift.routine.sensor, done, of))
    rows = run_many(setting, indices, executor=means.executor, workers=means.workers, progress=told)
    nominal, ensemble = nominal_ensemble(setting), as_ensemble(setting, indices, rows)
    return Judged(setting, nominal, ensemble, judge(lift, nominal, ensemble))


@dataclass(frozen=True)
class Confirmation:
    """What an ensemble says of a lift: judged if it holds, else which runs fail, of how many."""

    whole: Judged | None
    failing: Indices
    runs: int = 0


def confirm(
    lift: Lift, runs: int, means: Means, responses: Known | None = None, *, patient: bool = True
) -> Confirmation:
    """Run the whole ensemble of a lift, or as much of it as is needed to know whether it holds.

    Without patience it is given up where it is not believed at the first look at which it may be.
    """
    nobody = np.empty(0, dtype=np.int64)
    try:
        setting = prepare(lift, means.seed, means.periods_s, responses)
    except InputError:
        return Confirmation(None, nobody)
    indices, share = np.arange(runs, dtype=np.int64), lift.requirements.allowed_failure_rate
    nominal, allowed = nominal_ensemble(setting), most_failures(runs, share)
    if failures_of(lift, nominal, nominal).nominal:
        return Confirmation(None, nobody)
    done: list[Floats] = []
    for part in np.split(indices, [look for look in LOOKS if look < runs]):
        done.append(run_many(setting, part, executor=means.executor, workers=means.workers))
        rows = np.concatenate(done)
        ensemble = as_ensemble(setting, indices[: len(rows)], rows)
        found = failures_of(lift, nominal, ensemble)
        failures = found.worst()[1]
        over = FAR_OVER if 2 * len(rows) < runs else 1.0
        looked = len(rows) >= BELIEVED_RUNS
        if looked and upper_bound(failures, len(rows), CONFIDENCE_AT_LOOK) <= share:
            break
        at_most = min(allowed, max(A_FEW, over * allowed * len(rows) / runs))
        if failures > at_most or (looked and not patient and len(rows) < runs):
            return Confirmation(None, np.flatnonzero(np.any(list(found.runs.values()), axis=0)), len(rows))
    whole = Judged(setting, nominal, ensemble, judge(lift, nominal, ensemble))
    return Confirmation(whole if whole.passed else None, nobody)


@lru_cache
def most_failures(runs: int, allowed: float) -> int:
    """Most failures with which this many runs still show the allowed rate; -1: not even none would do.

    Examples
    --------
    >>> most_failures(2000, 0.01), most_failures(299, 0.01), most_failures(298, 0.01)
    (12, 0, -1)
    """
    most = -1
    while most < runs and upper_bound(most + 1, runs, CONFIDENCE) <= allowed:
        most += 1
    return most


@dataclass(frozen=True)
class Failures:
    """Which runs miss which requirement; ``nominal`` names those that the nominal run itself misses."""

    runs: dict[str, NDArray[np.bool_]]
    nominal: tuple[str, ...]

    def worst(self) -> tuple[str, int]:
        """The requirement that most runs miss, and how many do."""
        counts = {name: int(bad.sum()) for name, bad in self.runs.items()}
        name = max(counts, key=lambda each: counts[each])
        return name, counts[name]


def failures_of(lift: Lift, nominal: Ensemble, ensemble: Ensemble) -> Failures:
    """Hold every requirement against every run."""
    runs, missed = {}, []
    for each in requirements_for(lift):
        limit = limit_of(lift, each)
        runs[each.name] = failing(each, values_of(each, ensemble), limit)
        if bool(failing(each, values_of(each, nominal), limit)[0]):
            missed.append(each.name)
    return Failures(runs, tuple(missed))


def try_runs(lift: Lift, indices: Indices, means: Means, responses: Known | None = None) -> Failures | None:
    """Run only these runs of a lift; None when the lift is refused or its sensor never made.

    When the nominal run fails already, no other run is made.
    """
    try:
        setting = prepare(lift, means.seed, means.periods_s, responses)
    except InputError:
        return None
    nominal = nominal_ensemble(setting)
    first = failures_of(lift, nominal, nominal)
    if first.nominal:
        return first
    rows = run_many(setting, indices, executor=means.executor, workers=means.workers)
    return failures_of(lift, nominal, as_ensemble(setting, indices, rows))
