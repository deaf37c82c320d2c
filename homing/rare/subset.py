"""Subset simulation: a small probability as a product of larger ones, each easy to see.

Runs are drawn in standard-normal coordinates; the tenth with the least margins goes on, as the beginnings of
Markov chains that stay below that margin, and so on until a tenth fails. The failure rate is the product
of the shares. The chains are component-wise Metropolis: each coordinate proposes a step of its own, taken
with the ratio of the normal densities, and the whole is kept if its margin is below the level.

The random numbers that a run makes for itself (loops, noise) are one more coordinate, its run number, without
an order: in half of the steps it is drawn anew, in the others it stays, so that the other coordinates can be
refined with the same loops. Both keep the law of the run number.

The estimate is the mean of independent repetitions of the whole, and the interval comes from their
scatter: the wider of Student's interval of the mean, taken on a logarithmic scale so that it never reaches
below zero, and that of Cox for the mean of a lognormal law, which also hears a scatter over orders of
magnitude. It speaks of nothing but that scatter; a corner that every repetition misses it cannot tell.

References
----------
.. [1] S.-K. Au, J. L. Beck, "Estimation of small failure probabilities in high dimensions by subset
   simulation", Probabilistic Engineering Mechanics 16 (2001) 263 (from memory).
.. [2] U. Olsson, "Confidence intervals for the mean of a log-normal distribution", J. Statistics Education 13
   (2005): Cox's interval, with Student's quantile (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Standard-normal coordinates (n, d) and run numbers (n,) to margins (n,); negative fails.
Margin = Callable[[Floats, Integers], Floats]

#: Share of the runs that goes on to the next level, as the method's authors chose it.
LEVEL_SHARE = 0.1
#: Levels after which a repetition gives up: a rate below 1e-12 means nothing for a lift.
MOST_LEVELS = 12
#: Repetitions from which the interval comes.
REPETITIONS = 10
#: Half-width of a coordinate's proposed step, in standard deviations, as the method's authors chose it.
#: Mixing in shorter ones doubled the scatter between repetitions, and more, where the probability is known.
STEP = 1.0
#: A level that keeps more than this share is a plateau: the margin has no slope there, and nothing to go
#: down.
PLATEAU = 0.5
#: An interval whose ends differ by more than this factor is called rough: a run's own loops and noise decide
#: then, through which no chain can feel its way.
ROUGH = 100.0
#: Run numbers are drawn below this.
RUN_NUMBERS = 2**31


@dataclass(frozen=True)
class Repetition:
    """One run through the levels: its estimate, NaN where it met a plateau."""

    probability: float
    runs: int
    levels: int


@dataclass(frozen=True)
class SmallProbability:
    """A failure rate with its interval from independent repetitions.

    ``probability`` and its interval are None where no repetition came down to a failing run, or where the
    margin had no slope; ``why`` then says so, or that the interval is rough.
    """

    probability: float | None
    low: float | None
    high: float | None
    confidence: float
    repetitions: tuple[Repetition, ...]
    why: str = ""

    @property
    def runs(self) -> int:
        return sum(each.runs for each in self.repetitions)


def small_probability(
    margin: Margin,
    dimensions: int,
    runs_per_level: int = 500,
    repetitions: int = REPETITIONS,
    seed: int = 0,
    confidence: float = 0.95,
    done: Callable[[int, int], None] | None = None,
) -> SmallProbability:
    """Estimate the probability that the margin is negative.

    Parameters
    ----------
    margin : callable
    dimensions : int
        d, the coordinates without the run number.
    runs_per_level, repetitions : int
    seed : int
    confidence : float
        Of the two-sided interval.
    done : callable, optional
        Called with (repetitions done, all) after each.
    """
    found = []
    for number, each in enumerate(np.random.SeedSequence([seed, dimensions]).spawn(repetitions)):
        found.append(one_repetition(margin, dimensions, runs_per_level, np.random.default_rng(each)))
        if done is not None:
            done(number + 1, repetitions)
        if math.isnan(found[-1].probability):
            break  # one that cannot be told is enough to tell nothing
    return _together(tuple(found), confidence)


def nothing_found(why: str, confidence: float = 0.95) -> SmallProbability:
    """No estimate, and why not."""
    return SmallProbability(None, None, None, confidence, (), why)


def one_repetition(margin: Margin, dimensions: int, runs: int, generator: np.random.Generator) -> Repetition:
    """Once through the levels."""
    z = generator.standard_normal((runs, dimensions))
    numbers = generator.integers(0, RUN_NUMBERS, runs)
    margins, spent, probability = margin(z, numbers), runs, 1.0
    for level in range(MOST_LEVELS):
        failing = float(np.mean(margins < 0.0))
        if failing >= LEVEL_SHARE:
            return Repetition(probability * failing, spent, level + 1)
        threshold = float(np.partition(margins, _kept(runs) - 1)[_kept(runs) - 1])
        on = np.flatnonzero(margins <= threshold) if threshold >= 0.0 else np.flatnonzero(margins < 0.0)
        if len(on) > PLATEAU * runs:
            # no slope: what failed already is all that can be told, and nothing if nothing did
            return Repetition(probability * failing if failing > 0.0 else math.nan, spent, level + 1)
        probability *= len(on) / runs
        z, numbers, margins = _chains(margin, z[on], numbers[on], margins[on], runs, threshold, generator)
        spent += len(z) - len(on)
    return Repetition(0.0, spent, MOST_LEVELS)


def _kept(runs: int) -> int:
    return max(1, math.ceil(LEVEL_SHARE * runs))


def _chains(
    margin: Margin, z: Floats, numbers: Integers, margins: Floats, runs: int, threshold: float,
    generator: np.random.Generator,
) -> tuple[Floats, Integers, Floats]:  # fmt: skip
    """Chains from the given beginnings, all stepped together until there are ``runs`` states."""
    states, chosen, values = [z], [numbers], [margins]
    length = math.ceil(runs / len(z))
    for _ in range(length - 1):
        new_z, new_numbers = _proposed(z, numbers, generator)
        new_margins = margin(new_z, new_numbers)
        kept = new_margins <= threshold
        z = np.where(kept[:, None], new_z, z)
        numbers = np.where(kept, new_numbers, numbers)
        margins = np.where(kept, new_margins, margins)
        states.append(z)
        chosen.append(numbers)
        values.append(margins)
    return np.vstack(states), np.concatenate(chosen), np.concatenate(values)


def _proposed(z: Floats, numbers: Integers, generator: np.random.Generator) -> tuple[Floats, Integers]:
    step = z + generator.uniform(-STEP, STEP, z.shape)
    taken = generator.random(z.shape) < np.exp(np.minimum(0.5 * (z**2 - step**2), 0.0))
    fresh = generator.integers(0, RUN_NUMBERS, len(numbers))
    anew = generator.random(len(numbers)) < 0.5
    return np.where(taken, step, z), np.where(anew, fresh, numbers)


def _together(found: tuple[Repetition, ...], confidence: float) -> SmallProbability:
    estimates = np.array([each.probability for each in found])
    if np.isnan(estimates).any():
        why = "the margin jumps or is level before a run fails: the chains stopped, nothing can be told"
        return SmallProbability(None, None, None, confidence, found, why)
    mean = float(estimates.mean())
    if mean == 0.0:
        why = f"no repetition came down to a failing run within {MOST_LEVELS} levels"
        return SmallProbability(None, None, None, confidence, found, why)
    low, high = _interval(estimates, mean, confidence)
    why = "repetitions differ by orders of magnitude; more plain runs say more" if high > ROUGH * low else ""
    return SmallProbability(mean, low, min(high, 1.0), confidence, found, why)


def _interval(estimates: Floats, mean: float, confidence: float) -> tuple[float, float]:
    """The wider of Student's and Cox's interval; a repetition that came to nothing leaves only the first."""
    from scipy.stats import t

    count = len(estimates)
    quantile = float(t.ppf(0.5 * (1.0 + confidence), count - 1))
    factor = math.exp(quantile * float(estimates.std(ddof=1)) / math.sqrt(count) / mean)
    low, high = mean / factor, mean * factor
    if (estimates <= 0.0).any():
        return low, high
    logs = np.log(estimates)
    centre, variance = float(logs.mean()), float(logs.var(ddof=1))
    reach = quantile * math.sqrt(variance / count + variance**2 / (2.0 * (count - 1)))
    middle = centre + 0.5 * variance
    return min(low, math.exp(middle - reach)), max(high, math.exp(middle + reach))
