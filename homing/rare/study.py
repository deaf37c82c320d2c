"""Small failure rates of a lift, for the requirements that no run of the ensemble failed."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.batches import batch_of
from homing.draws import columns_of, from_uniforms
from homing.rare.subset import REPETITIONS, SmallProbability, small_probability
from homing.requirements import requirements_for
from homing.setting import Setting
from homing.simulate import run_batch
from homing.worst.margins import margins

Floats = NDArray[np.float64]

#: Runs simulated together; fixed, so that nothing depends on the number of cores.
BLOCK_RUNS = 128
#: Levels that a rate of about one in a million takes: what a budget of runs is shared over.
LEVELS = 6
#: Fewer runs a level than this leave too few beginnings of chains.
LEAST_PER_LEVEL = 100


@dataclass(frozen=True)
class SmallRate:
    """The small failure rate of one requirement."""

    requirement: str
    found: SmallProbability


def small_rates(
    setting: Setting,
    names: Sequence[str],
    runs: int,
    workers: int | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> tuple[SmallRate, ...]:
    """Estimate small failure rates by subset simulation.

    Parameters
    ----------
    setting : Setting
    names : sequence of str
        Requirements to estimate.
    runs : int
        About as many simulated runs for each of them, over all repetitions and levels.
    """
    each = max(LEAST_PER_LEVEL, runs // (REPETITIONS * LEVELS))
    wanted = [requirement for requirement in requirements_for(setting.lift) if requirement.name in names]
    rates = []
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        for requirement in wanted:

            def margin(z: Floats, numbers: NDArray[np.int64], only=(requirement,)) -> Floats:  # type: ignore[no-untyped-def]
                def block(first: int) -> Floats:
                    part = slice(first, first + BLOCK_RUNS)
                    return margins(setting, simulated(setting, z[part], numbers[part]), only)[:, 0]

                return np.concatenate(list(pool.map(block, range(0, len(z), BLOCK_RUNS))))

            def done(so_far: int, of: int, what: str = requirement.name) -> None:
                if progress is not None:
                    progress(f"small probability: {what}", so_far, of)

            found = small_probability(margin, columns_of(setting.lift), each, seed=setting.seed, done=done)
            rates.append(SmallRate(requirement.name, found))
    return tuple(rates)


def simulated(setting: Setting, z: Floats, numbers: NDArray[np.int64]) -> Floats:
    """Result rows of runs given by standard-normal coordinates (n, d) and their run numbers (n,)."""
    from scipy.special import ndtr

    made = batch_of(setting, from_uniforms(setting.lift, ndtr(z)), numbers)
    return run_batch(setting, made, setting.periods_s)
