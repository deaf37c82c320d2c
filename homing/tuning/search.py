"""Search for the front of two aims, little time and much margin, over a unit cube.

Differential evolution with selection by dominance (the third version of generalized differential evolution
[1]_), begun from an even sample (Sobol points of scipy [2]_, turned by a drawn amount). It needs no
derivative, takes rounded settings and whole numbers as they come, and can be stopped after any round with
what it has. ``scipy.optimize`` has no method for two aims; its ``differential_evolution`` serves as the
outside check in the tests. A library for many aims would bring more dependencies than this file has lines.

A point with a margin below zero is beaten by every other, and by every such point with more margin; so the
search first finds its way to where the requirements hold.

Nothing here knows lifts, and nothing depends on the clock but how far the search gets: after the same number
of evaluations the result is the same on every machine.

References
----------
.. [1] S. Kukkonen, J. Lampinen, "GDE3: the third evolution step of generalized differential evolution",
   IEEE Congress on Evolutionary Computation 2005, 443-450 (from memory).
.. [2] ``scipy.stats.qmc.Sobol``; turning: R. Cranley, T. Patterson, SIAM J. Numer. Anal. 13 (1976) 904
   (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.tuning.results import Stopped

Floats = NDArray[np.float64]
#: Points (k, d) -> times (k,), smaller is better, and margins (k,), larger is better; both finite.
Evaluate = Callable[[Floats], tuple[Floats, Floats]]
#: Evaluations so far -> why to stop now; None to go on.
Limit = Callable[[int], Stopped | None]

#: Members that live on from round to round, and points of the even sample at the start (a power of 2).
POPULATION = 24
SAMPLE_POWER = 5
#: Step along the difference of two members, and share of coordinates taken from it; values of [1]_ and of
#: the usual practice of differential evolution.
STEP, CROSSING = 0.6, 0.9
#: Margins and times closer than this (times: relative) count as equal when progress is judged.
SAME_MARGIN, SAME_TIME = 0.01, 0.02
#: Rounds without progress after which the search has converged.
PATIENCE = 4


@dataclass(frozen=True)
class Explored:
    """Every point that was evaluated, in order: points (n, d), times (n,), margins (n,)."""

    points: Floats
    times: Floats
    margins: Floats
    stopped: Stopped

    def front(self) -> NDArray[np.int64]:
        """Numbers of the points with a margin of at least zero that nothing beats, fastest first."""
        kept: list[int] = []
        best = -np.inf
        for i in np.lexsort((-self.margins, self.times)):
            if self.margins[i] >= 0.0 and self.margins[i] > best:
                kept.append(int(i))
                best = self.margins[i]
        return np.array(kept, dtype=np.int64)

    def most_margin(self) -> int:
        """Number of the point with the most margin, the faster one of equals."""
        return int(np.lexsort((self.times, -self.margins))[0])


def search(evaluate: Evaluate, first: Floats, seed: int, limit: Limit) -> Explored:
    """Explore the unit cube until the limit, or until nothing better turns up.

    Parameters
    ----------
    evaluate : callable
    first : ndarray, shape (k, d)
        Points to begin with besides the even sample.
    seed : int
    limit : callable
        Asked between rounds.

    Returns
    -------
    Explored
        After ``KeyboardInterrupt`` with what finished rounds brought; raised again if none did.
    """
    rng = np.random.default_rng(seed)
    points = np.vstack([first, _even_sample(first.shape[1], rng)])
    times, margins = evaluate(points)
    lived = _survivors(times, margins)
    idle = 0
    try:
        stopped = limit(len(points))
        while stopped is None:
            trial = _offspring(points, margins, lived, rng)
            new_times, new_margins = evaluate(trial)
            idle = 0 if _progress(times, margins, new_times, new_margins) else idle + 1
            lived = _replaced(lived, times, margins, new_times, new_margins)
            points, times = np.vstack([points, trial]), np.concatenate([times, new_times])
            margins = np.concatenate([margins, new_margins])
            lived = lived[_survivors(times[lived], margins[lived])]
            stopped = Stopped.CONVERGED if idle >= PATIENCE else limit(len(points))
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPTED
    return Explored(points, times, margins, stopped)


def beats(time: float, margin: float, other_time: float, other_margin: float) -> bool:
    """Whether one point is better than another without being worse in anything."""
    if min(margin, other_margin) < 0.0:
        return margin > other_margin
    no_worse = time <= other_time and margin >= other_margin
    return no_worse and (time < other_time or margin > other_margin)


def _even_sample(dimensions: int, rng: np.random.Generator) -> Floats:
    from scipy.stats import qmc

    sample = qmc.Sobol(dimensions, scramble=False).random_base2(SAMPLE_POWER)
    return np.asarray((sample + rng.random(dimensions)) % 1.0)


def _offspring(points: Floats, margins: Floats, lived: NDArray[np.int64], rng: np.random.Generator) -> Floats:
    """One new point for each member; every second one sets out from the member with the most margin."""
    best = lived[int(np.argmax(margins[lived]))]
    made = []
    for k, own in enumerate(lived):
        others = rng.choice(lived[lived != own], 3, replace=False)
        base = best if k % 2 else others[0]
        moved = points[base] + STEP * rng.uniform(0.5, 1.0) * (points[others[1]] - points[others[2]])
        taken = rng.random(len(moved)) < CROSSING
        taken[rng.integers(len(moved))] = True
        made.append(np.where(taken, _mirrored(moved), points[own]))
    return np.array(made)


def _mirrored(point: Floats) -> Floats:
    """A point that left the unit cube, thrown back at its walls."""
    return np.asarray(1.0 - np.abs(1.0 - np.abs(point) % 2.0))


def _replaced(
    lived: NDArray[np.int64], times: Floats, margins: Floats, new_times: Floats, new_margins: Floats
) -> NDArray[np.int64]:
    """Members after each met its offspring: the better one lives on, both if neither beats the other."""
    kept: list[int] = []
    for k, own in enumerate(lived):
        parent, child = (times[own], margins[own]), (new_times[k], new_margins[k])
        if not beats(*child, *parent):
            kept.append(int(own))
        if not beats(*parent, *child) and parent != child:
            kept.append(len(times) + k)
    return np.array(kept, dtype=np.int64)


def _survivors(times: Floats, margins: Floats) -> NDArray[np.int64]:
    """At most ``POPULATION`` numbers: front after front, within the last one those with the most room."""
    left = list(range(len(times)))
    kept: list[int] = []
    while left and len(kept) < POPULATION:
        layer = [i for i in left if not any(beats(times[j], margins[j], times[i], margins[i]) for j in left)]
        room = _room(times[layer], margins[layer])
        ordered = [layer[i] for i in np.argsort(-room, kind="stable")]
        kept += ordered[: POPULATION - len(kept)]
        left = [i for i in left if i not in layer]
    return np.array(kept, dtype=np.int64)


def _room(times: Floats, margins: Floats) -> Floats:
    """Distance to the neighbours on either side along a front; the ends have the most."""
    order = np.argsort(times, kind="stable")
    room = np.full(len(times), np.inf)
    for values in (times, margins):
        span = max(float(np.ptp(values)), 1e-12)
        inner = np.abs(values[order[2:]] - values[order[:-2]]) / span
        room[order[1:-1]] = np.where(np.isinf(room[order[1:-1]]), 0.0, room[order[1:-1]]) + inner
    return room


def _progress(times: Floats, margins: Floats, new_times: Floats, new_margins: Floats) -> bool:
    """Whether a new point is worth having beside the old ones, beyond what counts as equal."""
    for time, margin in zip(new_times, new_margins, strict=True):
        if margin < 0.0:
            known = bool((margins >= margin - SAME_MARGIN).any())
        else:
            near = (times <= time * (1.0 + SAME_TIME)) & (margins >= margin - SAME_MARGIN)
            known = bool(near.any())
        if not known:
            return True
    return False
