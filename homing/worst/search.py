"""Search for the least margin: rounds of differential evolution, each on one requirement.

Every other round takes the requirement that had the least of the work so far, those between the one with the
least margin so far. Requirements that are slow to measure, a run at a time, are measured in their own rounds
only, which are shorter; what was worst for the others is tried there too.

A round begins with the best points of all rounds before it (every run is measured against every requirement)
among fresh ones spread evenly, so nothing is searched twice and no round is lost in one corner. All points
of a generation are simulated together, spread over the cores. Nothing depends on who simulates what: the
same number of runs gives the same result.

References
----------
.. [1] R. Storn, K. Price, "Differential evolution - a simple and efficient heuristic for global optimization
   over continuous spaces", J. Global Optim. 11 (1997) 341; as scipy.optimize.differential_evolution.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Margins (n, k) of points (n, d).
Margins = Callable[[Floats], Floats]
#: Told while searching: runs tried so far, runs in all (0 when only the time is limited).
Progress = Callable[[int, int], None]

#: Points of a generation: a few for each of the dozen or two coordinates, and enough for all cores.
POPULATION = 96
#: Generations of a round: long enough to walk down a slope, short enough that each requirement has its turn.
GENERATIONS = 20
#: Best points of the earlier rounds among the first of a round; the others are fresh.
KEPT = 24
#: Points near the best ones among the first of a round that is drawn to them: each coordinate is moved with
#: this probability, by this standard deviation. They find what lies in narrow places, such as a loop's phase.
NEAR, NEAR_SHARE, NEAR_STEP = 36, 0.3, 0.1
#: Share of the coordinates that a trial point takes from its mutant. High ones cross narrow valleys that lie
#: askew; the rest keeps run number and start of its parent, without which nothing could be refined.
RECOMBINATION = 0.8
#: Generations of a round on a slow requirement; about how many fast runs one of its runs costs, as measured.
SLOW_GENERATIONS, SLOW_COST = 4, 20
#: Points at which slow requirements are measured before anything is searched, so that none goes without.
SLOW_FIRST = 24
#: Step of a mutant, drawn anew for each generation: the usual range of the method.
STEP = (0.4, 1.0)


class _SpentError(Exception):
    """Runs or time are used up."""


@dataclass
class Tried:
    """What was found so far for each of k requirements.

    ``pool`` has the best points of each, (m, d), with their margins, (m,); ``measured`` says on how many of
    the ``runs`` each was measured, ``failing`` how many of those failed it. ``interrupted``: by Ctrl-C.
    """

    pool: list[tuple[Floats, Floats]]
    measured: NDArray[np.int64]
    failing: NDArray[np.int64]
    runs: int = 0
    interrupted: bool = False

    @classmethod
    def nothing(cls, dimensions: int, requirements: int) -> Tried:
        """Before the first run."""
        pool = [(np.empty((0, dimensions)), np.empty(0)) for _ in range(requirements)]
        return cls(pool, np.zeros(requirements, dtype=np.int64), np.zeros(requirements, dtype=np.int64))

    @property
    def least(self) -> Floats:
        """Least margin of each requirement, (k,); infinite where none was measured."""
        return np.array([values[0] if len(values) else np.inf for _, values in self.pool])

    def point(self, k: int) -> Floats:
        """Where the least margin of a requirement was found, (d,)."""
        best: Floats = self.pool[k][0][0]
        return best

    def take_in(self, points: Floats, margins: Floats, kinds: list[int]) -> None:
        """Note simulated points (n, d) with their margins (n, len(kinds))."""
        self.runs += len(points)
        self.measured[kinds] += len(points)
        self.failing[kinds] += (margins < 0.0).sum(axis=0)
        for column, k in enumerate(kinds):
            known, at = self.pool[k]
            both, values = np.vstack([known, points]), np.concatenate([at, margins[:, column]])
            order = np.argsort(values, kind="stable")[:KEPT]
            self.pool[k] = both[order], values[order]  # in one step: Ctrl-C may come at any moment


def search(
    margins: Margins,
    dimensions: int,
    requirements: int,
    *,
    slow_margins: Margins | None = None,
    slow: int = 0,
    runs: int | None = None,
    seconds: float | None = None,
    seed: int = 0,
    first: Floats | None = None,
    progress: Progress | None = None,
) -> Tried:
    """Look for the least margin of each requirement over the unit cube.

    Ctrl-C ends the search early with what it has found; before its first run it is passed on.

    Parameters
    ----------
    margins : callable
        Points (n, d) to margins (n, k); negative fails.
    dimensions, requirements : int
        d and k.
    slow_margins, slow : callable and int, optional
        The same for requirements that are slow to measure; they come after the others.
    runs, seconds : optional
        When to stop, whichever comes first; at least one of them.
    seed : int
    first : ndarray, shape (m, d), optional
        Points to try before anything else, such as the nominal run.
    progress : callable, optional

    Returns
    -------
    Tried
    """
    if runs is None and seconds is None:
        raise ValueError("runs or seconds must be given")
    tried = Tried.nothing(dimensions, requirements + slow)
    measure = _Measure(margins, slow_margins, requirements, tried, runs, seconds, progress)
    seeds = np.random.SeedSequence([seed, dimensions])
    try:
        if first is not None:
            measure(first, with_slow=True)
        if slow:
            start = np.random.default_rng([seed, dimensions, slow]).random((SLOW_FIRST, dimensions))
            measure(start, with_slow=True)
        _rounds(measure, dimensions, seeds)
    except _SpentError:
        pass
    except KeyboardInterrupt:
        if tried.runs == 0:
            raise
        tried.interrupted = True
    return tried


@dataclass
class _Measure:
    """Measures points until runs or time are used up, and notes what it finds."""

    margins: Margins
    slow_margins: Margins | None
    fast: int
    tried: Tried
    runs: int | None
    seconds: float | None
    progress: Progress | None
    began: float = field(default_factory=time.monotonic)

    def __call__(self, points: Floats, *, with_slow: bool) -> Floats:
        """Margins (n, k) of points (n, d); slow ones are infinite where they are not asked for."""
        tried = self.tried
        left = len(points) if self.runs is None else min(len(points), self.runs - tried.runs)
        late = self.seconds is not None and time.monotonic() - self.began > self.seconds
        if left <= 0 or (tried.runs > 0 and late):
            raise _SpentError
        found = np.full((len(points), len(tried.pool)), np.inf)
        kinds = list(range(len(tried.pool) if with_slow else self.fast))
        found[:left, : self.fast] = self.margins(points[:left])
        if with_slow and self.fast < len(tried.pool) and self.slow_margins is not None:
            found[:left, self.fast :] = self.slow_margins(points[:left])
        tried.take_in(points[:left], found[:left][:, kinds], kinds)
        if self.progress is not None:
            self.progress(tried.runs, self.runs or 0)
        if left < len(points):
            raise _SpentError
        return found


def _rounds(measure: _Measure, dimensions: int, seeds: np.random.SeedSequence) -> None:
    tried, turn = measure.tried, 0
    work = np.zeros(len(tried.pool))
    while True:
        k = int(np.argmin(tried.least)) if turn % 2 else int(np.argmin(work))
        turn += 1
        before = tried.runs
        _round(measure, k, dimensions, np.random.default_rng(seeds.spawn(1)[0]), turn <= len(work))
        if turn % 2:
            work[k] += (tried.runs - before) * (SLOW_COST if k >= measure.fast else 1)


def _near(best: Floats, generator: np.random.Generator) -> Floats:
    """Points near the best third of the best ones (m, d); none while there are too few to choose from."""
    if len(best) < KEPT:
        return best[:0]
    chosen = best[generator.integers(0, KEPT // 3, NEAR)]
    moved = generator.random(chosen.shape) < NEAR_SHARE
    return np.clip(chosen + moved * generator.normal(0.0, NEAR_STEP, chosen.shape), 0.0, 1.0)


def _round(measure: _Measure, k: int, dimensions: int, generator: np.random.Generator, wide: bool) -> None:
    """One round of differential evolution on requirement k; a wide one is not drawn to the best."""
    from scipy.optimize import differential_evolution
    from scipy.stats import qmc

    tried, slow = measure.tried, k >= measure.fast
    fresh = qmc.LatinHypercube(dimensions, rng=generator).random(POPULATION)
    others = [tried.point(other)[None, :] for other in range(measure.fast) if slow and tried.measured[other]]
    near = [] if wide else [_near(tried.pool[k][0], generator)]
    begin = np.vstack([tried.pool[k][0], *others, *near, fresh])[:POPULATION]

    def least(columns: Floats) -> Floats:
        return measure(np.ascontiguousarray(np.clip(columns.T, 0.0, 1.0)), with_slow=slow)[:, k]

    differential_evolution(
        least,
        bounds=[(0.0, 1.0)] * dimensions,
        strategy="rand1bin" if wide else "currenttobest1bin",
        init=begin,
        maxiter=SLOW_GENERATIONS if slow else GENERATIONS,
        tol=0.0,
        mutation=STEP,
        recombination=RECOMBINATION,
        polish=False,
        vectorized=True,
        updating="deferred",
        rng=generator,
    )
