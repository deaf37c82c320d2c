"""Trials: the same drawn runs with other settings, so that only the settings make the difference.

The draws of lift and start belong to the run's number (common random numbers); sensors, trip zone and
tolerances do not change with the settings, so they are worked out once.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.builtin import builtin_table
from homing.ensemble import BLOCK_RUNS, as_ensemble, nominal_ensemble
from homing.lift import MS
from homing.requirements import judge
from homing.results import Ensemble, RequirementResult
from homing.routine import compile_table
from homing.setting import Setting
from homing.settings import routine_settings
from homing.simulate import run_block
from homing.statistics import quantiles
from homing.tuning.knobs import Knob, settings_at
from homing.tuning.margins import margin_of, worst_margin
from homing.tuning.results import Point

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

#: Runs of a trial: 99 % is then the sixth largest. Fewer runs and more trials find luck rather than margin.
SEARCH_RUNS = 2 * BLOCK_RUNS
#: Runs that are made first; a trial that fails in this share of them already is not looked at further.
SCREEN_RUNS, HOPELESS_SHARE = 64, 0.2
#: Margins of trials are told in these steps, rounded down: less is not worth a longer time.
MARGIN_STEP = 0.005
#: Time that stands for never [s]: longer than any run.
NEVER_S = 1.0e3
#: A requirement whose margin differs less than this between nearly all first trials is hardly moved by them.
FIXED_SPREAD = 0.05
#: Part of the first trials, at either end, that is left out of that spread: those that went wrong at once.
TAIL = 0.1


def with_settings(setting: Setting, settings: Mapping[str, float]) -> Setting:
    """The same study with other settings of the built-in sequence; values are not checked again."""
    lift = replace_routine(setting.lift, settings)
    table = builtin_table(
        routine_settings(lift, setting.zone_m, setting.trip_m, setting.table.told_by_standing)
    )
    return replace(
        setting,
        lift=lift,
        table=table,
        compiled=compile_table(table),
        no_motion_s=lift.routine.no_motion_ms * MS,
    )


def replace_routine(lift: Lift, settings: Mapping[str, float]) -> Lift:
    """The lift with some settings changed, unchecked: a hundred times faster than ``Lift.replace``."""
    return replace(lift, routine=lift.routine.model_copy(update=typed(lift, settings)))


def typed(lift: Lift, settings: Mapping[str, float]) -> dict[str, float]:
    """Settings as their keys want them: whole numbers where they are counted."""
    return {
        key: int(value) if isinstance(getattr(lift.routine, key), int) else float(value)
        for key, value in settings.items()
    }


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
        for k, whole in zip(worth, self.judged([changes[k] for k in worth]), strict=True):
            judged[k] = whole
        self.done += len(points)
        if self.fixed is None:
            self.fixed = self._fixed([judged[k][0] for k in worth])
        found = [self.point(each, *both) for each, both in zip(changes, judged, strict=True)]
        times = np.nan_to_num([point.time_to_zero_s for point in found], nan=NEVER_S)
        margins = np.array([point.margin for point in found])
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
