"""Search for the least margin: rounds of differential evolution, each on one requirement.

Every other round takes the next requirement, those between the one with the least margin so far.

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
#: Share of the coordinates that a trial point takes from its mutant. High ones cross narrow valleys that lie
#: askew; the rest keeps run number and start of its parent, without which nothing could be refined.
RECOMBINATION = 0.8
#: Step of a mutant, drawn anew for each generation: the usual range of the method.
STEP = (0.4, 1.0)


class _SpentError(Exception):
    """Runs or time are used up."""


@dataclass
class Tried:
    """Least margin of each requirement so far, where it was found, and how many runs were tried.

    ``least`` is (k,), ``points`` (k, d), ``pool`` the best points of each requirement.
    """

    least: Floats
    points: Floats
    runs: int = 0
    failing: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    pool: list[tuple[Floats, Floats]] = field(default_factory=list)

    def take_in(self, points: Floats, margins: Floats) -> None:
        """Note simulated points (n, d) with their margins (n, k)."""
        self.runs += len(points)
        self.failing += (margins < 0.0).sum(axis=0)
        for k in range(margins.shape[1]):
            known, at = self.pool[k]
            both, values = np.vstack([known, points]), np.concatenate([at, margins[:, k]])
            order = np.argsort(values, kind="stable")[:KEPT]
            self.pool[k] = both[order], values[order]
            self.least[k], self.points[k] = values[order[0]], both[order[0]]


def search(
    margins: Margins,
    dimensions: int,
    requirements: int,
    *,
    runs: int | None = None,
    seconds: float | None = None,
    seed: int = 0,
    first: Floats | None = None,
    progress: Progress | None = None,
) -> Tried:
    """Look for the least margin of each requirement over the unit cube.

    Parameters
    ----------
    margins : callable
        Points (n, d) to margins (n, k); negative fails.
    dimensions, requirements : int
        d and k.
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
    tried = Tried(
        np.full(requirements, np.inf),
        np.zeros((requirements, dimensions)),
        failing=np.zeros(requirements, dtype=np.int64),
        pool=[(np.empty((0, dimensions)), np.empty(0)) for _ in range(requirements)],
    )
    until = None if seconds is None else time.monotonic() + seconds

    def measured(points: Floats) -> Floats:
        left = len(points) if runs is None else min(len(points), runs - tried.runs)
        if left <= 0 or (until is not None and tried.runs > 0 and time.monotonic() > until):
            raise _SpentError
        found = margins(points[:left])
        tried.take_in(points[:left], found)
        if progress is not None:
            progress(tried.runs, runs or 0)
        if left < len(points):
            raise _SpentError
        return found

    try:
        if first is not None:
            measured(first)
        _rounds(measured, tried, dimensions, requirements, np.random.SeedSequence([seed, dimensions]))
    except _SpentError:
        pass
    return tried


def _rounds(
    measured: Margins, tried: Tried, dimensions: int, requirements: int, seeds: np.random.SeedSequence
) -> None:
    from scipy.optimize import differential_evolution
    from scipy.stats import qmc

    turn = 0
    while True:
        generator = np.random.default_rng(seeds.spawn(1)[0])
        k = int(np.argmin(tried.least)) if turn % 2 else (turn // 2) % requirements
        turn += 1
        fresh = qmc.LatinHypercube(dimensions, rng=generator).random(POPULATION)
        begin = np.vstack([tried.pool[k][0], fresh])[:POPULATION]

        def least(columns: Floats, k: int = k) -> Floats:
            return measured(np.ascontiguousarray(np.clip(columns.T, 0.0, 1.0)))[:, k]

        differential_evolution(
            least,
            bounds=[(0.0, 1.0)] * dimensions,
            strategy="rand1bin" if turn <= requirements else "currenttobest1bin",
            init=begin,
            maxiter=GENERATIONS,
            tol=0.0,
            mutation=STEP,
            recombination=RECOMBINATION,
            polish=False,
            vectorized=True,
            updating="deferred",
            rng=generator,
        )
