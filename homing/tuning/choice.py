"""Choosing from what was searched: the best trials on more runs, then on fresh ones, which alone decide.

Searching takes the best of hundreds of trials on the same runs, so its figures flatter the winner (the
winner's curse): the front is looked at again on more runs, and its points are tried on fresh runs one after
the other, each on another seed, until one holds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from homing.tuning.guards import guards_for, values
from homing.tuning.knob import settings_at
from homing.tuning.proof import fresh_seed, prove, unsafe_shares
from homing.tuning.results import Guard, Point, Proof
from homing.tuning.rules import Rule
from homing.tuning.search import Explored
from homing.tuning.settings import typed, values_of, with_settings
from homing.tuning.trials import Trials

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Told while working: what is being done, how much of it is done, how much there is.
Progress = Callable[[str, int, int], None]
#: A point with the guards that belong to it, and the margin which the search believed it had.
Guarded = tuple[Point, tuple[Guard, ...], float]

#: Runs with which trials are looked at again; how many of them along the front, and how many of the trials
#: with the most margin, whether on the front or not: the best on few runs is seldom the best on many.
FRONT_RUNS, FRONT_POINTS, TOP_POINTS = 1024, 5, 5
#: How many of those the lift's own requirements are held against: enough to show the usual allowed rate.
OWN_FRONT_RUNS = 300
#: Points of the front that are tried on fresh runs before giving up.
ATTEMPTS = 3
#: Margins this close are equal: the one with fewer unsafe fault runs is chosen.
EQUAL_MARGIN = 0.02


def front_of(
    trials: Trials, asked: Sequence[Rule], explored: Explored, tell: Progress
) -> tuple[Guarded, ...]:
    """The best trials looked at again on more runs, with guards set by rule; what is beaten falls out."""
    again = _finalists(explored)
    points: list[Guarded] = []
    written = values_of(trials.setting.lift, trials.also)
    for done, number in enumerate(again):
        tell("looking at the best again", done, len(again))
        settings = settings_at(trials.own, explored.points[number])
        free = with_settings(trials.setting, {**trials.also, **settings})
        found = guards_for(free, asked, trials.pool, written)
        # where nothing is healthy there is nothing to set guards by: those of the file are kept
        guarded = {**settings, **(values(found) or written)}
        points.append((_looked_at_again(trials, guarded), found, float(explored.margins[number])))
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


def _looked_at_again(trials: Trials, settings: Mapping[str, float]) -> Point:
    ((results, ensemble),) = trials.judged([settings], np.arange(FRONT_RUNS, dtype=np.int64))
    return trials.point(settings, trials.with_own(settings, results, OWN_FRONT_RUNS), ensemble)


def by_choice(trials: Trials, front: Sequence[Guarded]) -> list[Guarded]:
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


def confirmed(
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
    settings = values_of(lift, after.point.settings)
    return prove(lift, settings, after.seed, runs, trials.fixed or (), trials.pool)


def _with(lift: Lift, settings: Mapping[str, float]) -> Lift:
    return lift.replace({f"routine.{key}": value for key, value in typed(lift, settings).items()})
