"""Tune: search on few runs, choose on more, confirm on fresh ones.

Searching takes the best of hundreds of trials on the same runs, so its figures flatter the winner (the
winner's curse). Therefore three ensembles: a small one to search, a larger one to choose from the front, and
a fresh one with another seed, which alone decides whether the requirements hold. If it says no, the next
point of the front is tried, on yet another seed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from typing import TYPE_CHECKING

import numpy as np

from homing.setting import prepare
from homing.statistics import runs_needed
from homing.tuning.drift import DRIFT_RUNS, drifts
from homing.tuning.guards import generous, guards_for, values
from homing.tuning.knobs import knobs, point_of, settings_at
from homing.tuning.proof import fresh_seed, prove, unsafe_shares
from homing.tuning.results import Drift, Guard, Point, Proof, Stopped, Tuning
from homing.tuning.search import Explored, search
from homing.tuning.trials import NEVER_S, SEARCH_RUNS, Trials, pool_of, typed, with_settings
from homing.tuning.words import cautions, notes
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Told while working: what is being done, how much of it is done, how much there is.
Progress = Callable[[str, int, int], None]
#: A point with the guards that belong to it, and the margin which the search believed it had.
Guarded = tuple[Point, tuple[Guard, ...], float]

#: Runs with which trials are looked at again; how many of them along the front, and how many of the trials
#: with the most margin, whether on the front or not: the best on few runs is seldom the best on many.
FRONT_RUNS, FRONT_POINTS, TOP_POINTS = 1024, 5, 5
#: Points of the front that are tried on fresh runs before giving up.
ATTEMPTS = 3
#: Margins this close are equal: the one with fewer unsafe fault runs is chosen.
EQUAL_MARGIN = 0.02
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
    """Settings of the built-in sequence which meet the requirements with the most margin.

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
        When the lift cannot be simulated, or brings its own routine.

    Notes
    -----
    ``KeyboardInterrupt`` during the search ends it: the best so far is confirmed and returned.
    """
    if lift.own_routine is not None:
        must = "must be the built-in sequence: phases and rows of an own table have no settings to search"
        raise InputError(must, file=lift.source, key="routine.phase")
    setting = prepare(lift, seed)
    own, tell = knobs(lift), progress or (lambda what, done, of: None)
    with pool_of(executor, workers) as pool:
        trials = Trials(setting, own, np.arange(SEARCH_RUNS), pool, also=generous(setting))
        now = point_of(own, {knob.key: float(getattr(lift.routine, knob.key)) for knob in own})
        explored = search(trials, now[None, :], seed, _limit(seconds, evaluations, tell))
        front = _front(trials, explored, tell)
        ordered = _by_choice(trials, front)
        chosen, before, after = _confirmed(trials, ordered, enough_runs(lift, runs), tell)
        tell("how far settings may stray", 0, 1)
        strayed = drifts(prepare(after.lift, after.seed), after.point.settings, pool) if after.passed else ()
        tell("how far settings may stray", 1, 1)
    return _told(trials, explored, front, chosen, before, after, strayed)


def _told(
    trials: Trials, explored: Explored, front: Sequence[Guarded], chosen: Guarded, before: Proof,
    after: Proof, strayed: tuple[Drift, ...],
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
        drift=strayed,
        fixed=fixed,
        evaluations=trials.done,
        stopped=explored.stopped,
        search_runs=SEARCH_RUNS,
        front_runs=FRONT_RUNS,
        drift_runs=DRIFT_RUNS,
        assumed=after.lift.assumed,
        cautions=cautions(after.lift),
        notes=notes(lift, before, after, fixed),
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


def _front(trials: Trials, explored: Explored, tell: Progress) -> tuple[Guarded, ...]:
    """The best trials looked at again on more runs, with guards set by rule; what is beaten falls out."""
    again = _finalists(explored)
    points: list[Guarded] = []
    for done, number in enumerate(again):
        tell("looking at the best again", done, len(again))
        settings = settings_at(trials.own, explored.points[number])
        found = guards_for(with_settings(trials.setting, {**trials.also, **settings}), trials.pool)
        # where nothing is healthy there is nothing to set guards by: those of the file are kept
        guarded = {**settings, **(values(found) or _own_guards(trials))}
        judged = trials.judged([guarded], np.arange(FRONT_RUNS, dtype=np.int64))
        points.append((trials.point(guarded, *judged[0]), found, float(explored.margins[number])))
    tell("looking at the best again", len(again), len(again))
    return _unbeaten(points)


def _unbeaten(points: Sequence[Guarded]) -> tuple[Guarded, ...]:
    """The points that nothing beats, fastest first; the one with the most margin if none holds."""
    if max(point.margin for point, *_ in points) < 0.0:
        return (max(points, key=lambda each: each[0].margin),)
    kept: list[Guarded] = []
    for each in sorted(points, key=lambda each: (each[0].time_to_zero_s, -each[0].margin)):
        if each[0].margin > max((other.margin for other, *_ in kept), default=0.0):
            kept.append(each)
    return tuple(kept)


def _finalists(explored: Explored) -> list[int]:
    """Numbers of a few points along the front, both ends among them, and of those with the most margin."""
    front = explored.front()
    if not len(front):
        return [explored.most_margin()]
    margins = explored.margins[front]
    share = (margins - margins[0]) / max(float(margins[-1] - margins[0]), 1e-12)
    along = [int(front[np.argmin(np.abs(share - place))]) for place in np.linspace(0.0, 1.0, FRONT_POINTS)]
    top = np.lexsort((explored.times, -explored.margins))[:TOP_POINTS]
    return list(dict.fromkeys([*along, *(int(number) for number in top if explored.margins[number] >= 0.0)]))


def _own_guards(trials: Trials) -> dict[str, float]:
    routine = trials.setting.lift.routine
    return {key: float(getattr(routine, key)) for key in trials.also}


def _by_choice(trials: Trials, front: Sequence[Guarded]) -> list[Guarded]:
    """The front in the order of choice: most margin first, fewer unsafe fault runs among equals."""
    ordered = sorted(front, key=lambda each: -each[0].margin)
    equal = [each for each in ordered if each[0].margin >= ordered[0][0].margin - EQUAL_MARGIN]
    if len(equal) == 1:
        return ordered
    unsafe = [
        sum(share for _, share in unsafe_shares(with_settings(trials.setting, point.settings), trials.pool))
        for point, *_ in equal
    ]
    first = [equal[i] for i in np.argsort(unsafe, kind="stable")]
    return [*first, *ordered[len(equal) :]]


def _confirmed(
    trials: Trials, ordered: Sequence[Guarded], runs: int, tell: Progress
) -> tuple[Guarded, Proof, Proof]:
    """The first of the ordered points that holds on fresh runs, with the file's settings on the same runs.

    If none of those tried holds: the first, which had the most margin when it was chosen.
    """
    tried: list[tuple[Guarded, Proof]] = []
    for attempt, each in enumerate(ordered[:ATTEMPTS]):
        tell("confirming on fresh runs", attempt, attempt + 2)
        lift = _with(trials.setting.lift, each[0].settings)
        seed = fresh_seed(trials.setting.seed, attempt)
        tried.append((each, prove(lift, each[0].settings, seed, runs, trials.fixed or (), trials.pool)))
        if tried[-1][1].passed:
            break
    each, after = tried[-1] if tried[-1][1].passed else tried[0]
    before = _before(trials, after, runs)
    tell("confirming on fresh runs", len(tried) + 1, len(tried) + 1)
    return each, before, after


def _before(trials: Trials, after: Proof, runs: int) -> Proof:
    lift = trials.setting.lift
    settings = {key: float(getattr(lift.routine, key)) for key in after.point.settings}
    return prove(lift, settings, after.seed, runs, trials.fixed or (), trials.pool)


def _with(lift: Lift, settings: Mapping[str, float]) -> Lift:
    return lift.replace({f"routine.{key}": value for key, value in typed(lift, settings).items()})


def _plain(explored: Explored) -> tuple[tuple[float, float], ...]:
    """All trials as (time, margin); NaN for those that never zeroed."""
    times = np.where(explored.times >= NEVER_S, np.nan, explored.times)
    return tuple(zip(times.tolist(), explored.margins.tolist(), strict=True))
