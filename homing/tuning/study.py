"""Tune: search on few runs, choose on more, confirm on fresh ones.

Searching takes the best of hundreds of trials on the same runs, so its figures flatter the winner (the
winner's curse). Therefore three ensembles: a small one to search, a larger one to choose from the front, and
a fresh one with another seed, which alone decides whether the requirements hold. If it says no, the next
point of the front is tried, on yet another seed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from typing import TYPE_CHECKING

import numpy as np

from homing.ownrequirements.judging import judge_own
from homing.players import TablePlayer
from homing.setting import prepare
from homing.simulate import nominal_run
from homing.statistics import runs_needed
from homing.tuning import choice
from homing.tuning.choice import Guarded, Progress
from homing.tuning.drift import DRIFT_RUNS, drifts
from homing.tuning.guards import generous
from homing.tuning.knob import Knob, point_of
from homing.tuning.knobs import knobs
from homing.tuning.results import Drift, Proof, Stopped, Tuning
from homing.tuning.rules import Rule, rules
from homing.tuning.search import Explored, search
from homing.tuning.settings import values_of
from homing.tuning.trials import NEVER_S, SEARCH_RUNS, Trials, pool_of
from homing.tuning.words import cautions, notes

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Most runs that are made, unasked, because the allowed failure rate needs them.
MOST_RUNS = 20_000
SECONDS = 20.0


def tune(
    lift: Lift,
    runs: int = 2000,
    seed: int = 0,
    executor: Executor | None = None,
    *,
    seconds: float = SECONDS,
    evaluations: int | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Tuning:
    """Settings of the routine, built-in or own, which meet the requirements with the most margin.

    Parameters
    ----------
    lift : Lift
    runs : int
        Fresh runs that confirm; raised where the allowed failure rate needs more to be shown at all.
    seed : int
        Of the search; the fresh runs have another one.
    executor : concurrent.futures.Executor, optional
        Runs the trials; threads by default.
    seconds : float
        Time to search [s]; looking at the front again and confirming come on top.
    evaluations : int, optional
        End the search after so many trials instead: the same result on every machine.
    workers : int, optional
        Threads of the default executor; never changes a number.
    progress : callable, optional
        Called with (what, done, all).

    Returns
    -------
    Tuning
        ``found`` is False when nothing tried meets all requirements; ``after`` is then the nearest miss.

    Raises
    ------
    InputError
        When the lift cannot be simulated, or brings its own table without a number to search.

    Notes
    -----
    ``KeyboardInterrupt`` during the search ends it: the best so far is confirmed and returned.
    """
    own, tell = knobs(lift), progress or (lambda what, done, of: None)
    setting = prepare(lift, seed)
    asked = rules(setting)
    # formulas that cannot be asked are refused now, not after the first trial that holds
    judge_own(TablePlayer(setting), nominal_run(setting), 1)
    with pool_of(executor, workers) as pool:
        trials = Trials(setting, own, np.arange(SEARCH_RUNS), pool, also=generous(setting, asked))
        now = point_of(own, values_of(lift, [knob.key for knob in own]))
        explored = search(trials, now[None, :], seed, _limit(seconds, evaluations, tell))
        front = choice.front_of(trials, asked, explored, tell)
        ordered = choice.by_choice(trials, front)
        chosen, before, after = choice.confirmed(trials, ordered, enough_runs(lift, runs), tell)
        tell("how far settings may stray", 0, 1)
        groups = _one_value(own, asked)
        strayed = _strayed(after, groups, pool) if after.passed else ()
        tell("how far settings may stray", 1, 1)
    return _told(trials, explored, front, chosen, before, after, groups, strayed)


def keys_of(lift: Lift) -> tuple[str, ...]:
    """Every key below ``[routine]`` that tuning may change on this lift.

    Raises
    ------
    InputError
        As ``tune`` does, before anything is searched.
    """
    groups = _one_value(knobs(lift), rules(prepare(lift)))
    return tuple(key for group in groups for key in group)


def _one_value(own: Sequence[Knob], asked: Sequence[Rule]) -> tuple[tuple[str, ...], ...]:
    """Keys that are one setting, searched ones before those set by rule."""
    return (*(knob.keys for knob in own), *((rule.key, *rule.also) for rule in asked))


def _strayed(after: Proof, groups: tuple[tuple[str, ...], ...], pool: Executor) -> tuple[Drift, ...]:
    return drifts(prepare(after.lift, after.seed), groups, after.point.settings, pool)


def _told(
    trials: Trials, explored: Explored, front: Sequence[Guarded], chosen: Guarded, before: Proof,
    after: Proof, groups: tuple[tuple[str, ...], ...], strayed: tuple[Drift, ...],
) -> Tuning:  # fmt: skip
    lift, fixed = trials.setting.lift, trials.fixed or ()
    return Tuning(
        lift=lift,
        seed=trials.setting.seed,
        runs=len(after.ensemble),
        found=after.passed,
        searched_margin=chosen[2],
        chosen=chosen[0],
        before=before,
        after=after,
        front=tuple(point for point, *_ in front if point.margin >= 0.0),
        trials=_plain(explored),
        guards=chosen[1],
        groups=groups,
        drift=strayed,
        fixed=fixed,
        evaluations=trials.done,
        stopped=explored.stopped,
        search_runs=SEARCH_RUNS,
        front_runs=choice.FRONT_RUNS,
        drift_runs=DRIFT_RUNS,
        assumed=after.lift.assumed,
        cautions=cautions(after.lift),
        notes=notes(lift, before, after, fixed, groups),
    )


def _limit(seconds: float, evaluations: int | None, tell: Progress) -> Callable[[int], Stopped | None]:
    began = time.monotonic()

    def limit(done: int) -> Stopped | None:
        passed = time.monotonic() - began
        if evaluations is not None:
            tell("searching (trials)", min(done, evaluations), evaluations)
            return Stopped.EVALUATIONS if done >= evaluations else None
        tell("searching (seconds)", round(min(passed, seconds)), max(round(seconds), 1))
        return Stopped.TIME if passed >= seconds else None

    return limit


def enough_runs(lift: Lift, runs: int) -> int:
    """Runs that can decide, with room for some failures; as asked where that would take too long."""
    needed = 2 * runs_needed(lift.requirements.allowed_failure_rate)
    return max(runs, needed) if needed <= MOST_RUNS else runs


def _plain(explored: Explored) -> tuple[tuple[float, float], ...]:
    """All trials as (time, margin); NaN for those that never zeroed."""
    times = np.where(explored.times >= NEVER_S, np.nan, explored.times)
    return tuple(zip(times.tolist(), explored.margins.tolist(), strict=True))
