"""Trials: the same drawn runs with other settings, so that only the settings make the difference.

The draws of lift and start belong to the run's number (common random numbers); sensors, trip zone and
tolerances do not change with the settings, so they are worked out once.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.ensemble import BLOCK_RUNS, as_ensemble, nominal_ensemble
from homing.ownrequirements.judging import judge_own
from homing.players import TablePlayer
from homing.requirements import FIXED_NAMES, judge
from homing.results import Ensemble, RequirementResult
from homing.simulate import nominal_run, run_block
from homing.statistics import quantiles
from homing.tuning.knob import Knob, settings_at
from homing.tuning.margins import margin_of, worst_margin
from homing.tuning.results import Point
from homing.tuning.settings import with_settings

if TYPE_CHECKING:
    from homing.setting import Setting

Floats = NDArray[np.float64]

#: Runs of a trial: 99 % is then the sixth largest. Fewer runs and more trials find luck rather than margin.
SEARCH_RUNS = 2 * BLOCK_RUNS
#: Runs that are made first; a trial that fails in this share of them already is not looked at further.
SCREEN_RUNS, HOPELESS_SHARE = 64, 0.2
#: Runs on which a trial is held against the lift's own requirements. Own choice: a formula costs some
#: milliseconds a run, and what holds here is held against many more runs before it is chosen.
OWN_RUNS = 24
#: Margins of trials are told in these steps, rounded down: less is not worth a longer time.
MARGIN_STEP = 0.005
#: Time that stands for never [s]: longer than any run.
NEVER_S = 1.0e3
#: A requirement whose margin differs less than this between nearly all first trials is hardly moved by them.
FIXED_SPREAD = 0.05
#: Part of the first trials, at either end, that is left out of that spread: those that went wrong at once.
TAIL = 0.1


@dataclass
class Trials:
    """Judges settings on the runs with these numbers.

    ``fixed`` names requirements that the settings do not move; told from the first batch of trials.
    """

    setting: Setting
    own: Sequence[Knob]
    indices: NDArray[np.int64]
    pool: Executor
    also: Mapping[str, float] = field(default_factory=dict)
    fixed: tuple[str, ...] | None = None
    done: int = 0

    def __call__(self, points: Floats) -> tuple[Floats, Floats]:
        """Median time to zero and margin of each point of the unit cube, (k,) each."""
        changes = [{**self.also, **settings_at(self.own, point)} for point in points]
        judged = self.judged(changes, self.indices[:SCREEN_RUNS])
        worth = [k for k, (results, _) in enumerate(judged) if not hopeless(results)]
        whole = self.judged([changes[k] for k in worth])
        self.done += len(points)
        if self.fixed is None:
            self.fixed = self._fixed([results for results, _ in whole])
        for k, (results, ensemble) in zip(worth, whole, strict=True):
            judged[k] = (self.with_own(changes[k], results, OWN_RUNS), ensemble)
        found = [self.point(each, *result) for each, result in zip(changes, judged, strict=True)]
        times = np.nan_to_num([point.time_to_zero_s for point in found], nan=NEVER_S)
        both = zip(found, judged, strict=True)
        margins = np.array([_guiding(point.margin, results) for point, (results, _) in both])
        return times, np.floor(margins / MARGIN_STEP) * MARGIN_STEP

    def judged(
        self, changes: Iterable[Mapping[str, float]], indices: NDArray[np.int64] | None = None
    ) -> list[tuple[tuple[RequirementResult, ...], Ensemble]]:
        """Requirements and ensemble for each of several changes of settings."""
        numbers = self.indices if indices is None else indices
        settings = [with_settings(self.setting, each) for each in changes]
        blocks = [numbers[i : i + BLOCK_RUNS] for i in range(0, len(numbers), BLOCK_RUNS)]
        nominal = [(nominal_ensemble, (setting,)) for setting in settings]
        drawn = [(run_block, (setting, block)) for setting in settings for block in blocks]
        rows = gather(self.pool, [*nominal, *drawn])
        ensembles = rows[len(settings) :]
        found = []
        for k, setting in enumerate(settings):
            own = np.vstack(ensembles[k * len(blocks) : (k + 1) * len(blocks)])
            ensemble = as_ensemble(setting, numbers, own)
            found.append((judge(setting.lift, rows[k], ensemble), ensemble))
        return found

    def with_own(
        self, settings: Mapping[str, float], results: tuple[RequirementResult, ...], runs: int
    ) -> tuple[RequirementResult, ...]:
        """The results with those of the lift's own requirements, which are asked where all others hold.

        Where a fixed requirement fails the settings are out anyway, and formulas take long.
        """
        lift = self.setting.lift
        allowed = lift.requirements.allowed_failure_rate
        if not lift.own_requirements or worst_margin(results, allowed)[0] < 0.0:
            return results
        setting = with_settings(self.setting, settings)
        return (*results, *judge_own(TablePlayer(setting), nominal_run(setting), runs))

    def point(
        self, settings: Mapping[str, float], results: tuple[RequirementResult, ...], ensemble: Ensemble
    ) -> Point:
        """What a set of settings came to."""
        allowed = self.setting.lift.requirements.allowed_failure_rate
        return point_from(settings, results, ensemble, allowed, self.fixed or ())

    def _fixed(self, judged: Sequence[tuple[RequirementResult, ...]]) -> tuple[str, ...]:
        if not judged:
            return ()
        allowed = self.setting.lift.requirements.allowed_failure_rate
        names = [result.name for result in judged[0]]
        margins = np.array([[margin_of(result, allowed) for result in results] for results in judged])
        low, high = np.quantile(margins, (TAIL, 1.0 - TAIL), axis=0)
        return tuple(name for name, spread in zip(names, high - low, strict=True) if spread < FIXED_SPREAD)


def _guiding(margin: float, results: Sequence[RequirementResult]) -> float:
    """The margin by which the search finds its way.

    Where only own requirements are broken it is the share of runs that break one: nearer to the goal than
    what fails a fixed requirement, where the share of a tiny allowed rate would make it look far worse.
    """
    own = [result for result in results if result.name not in FIXED_NAMES]
    if margin >= 0.0 or not own:
        return margin
    return -max(max(result.failure_probability, 1.0 / result.runs) for result in own)


def hopeless(results: Sequence[RequirementResult]) -> bool:
    """Whether a requirement fails in so many runs that more of them would not change the verdict."""
    return any(result.failure_probability > HOPELESS_SHARE for result in results)


def point_from(
    settings: Mapping[str, float],
    results: tuple[RequirementResult, ...],
    ensemble: Ensemble,
    allowed: float,
    fixed: Sequence[str],
) -> Point:
    """Settings with what they came to over an ensemble."""
    margin, active = worst_margin(results, allowed, fixed)
    median_s, p99_s = quantiles(ensemble.metrics["time_to_zero_s"], (0.5, 0.99))
    (overtravel_mm,) = quantiles(ensemble.metrics["overtravel_mm"], (0.99,))
    return Point(dict(settings), median_s, p99_s, overtravel_mm, margin, active)


def gather(pool: Executor, jobs: Sequence[tuple[Callable[..., Any], tuple[Any, ...]]]) -> list[Any]:
    """Results of some calls in their order; when one fails or is interrupted the rest is called off."""
    waiting: list[Future[Any]] = [pool.submit(call, *arguments) for call, arguments in jobs]
    try:
        return [future.result() for future in waiting]
    finally:
        for future in waiting:
            future.cancel()


@contextmanager
def pool_of(executor: Executor | None, workers: int | None) -> Iterator[Executor]:
    """The executor given, or threads of our own for as long as they are needed."""
    if executor is not None:
        yield executor
        return
    own = ThreadPoolExecutor(workers or os.cpu_count() or 1)
    try:
        yield own
    finally:
        own.shutdown(wait=True, cancel_futures=True)
