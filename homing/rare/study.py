"""Small failure rates of a lift, for the requirements that no run of the ensemble failed, own ones too."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.batches import Batch, batch_of
from homing.draws import columns_of, from_uniforms
from homing.rare.subset import REPETITIONS, SmallProbability, nothing_found, small_probability
from homing.setting import Setting
from homing.worst.aims import Aims, requirement_names

Floats = NDArray[np.float64]

#: Runs simulated together; fixed, so that nothing depends on the number of cores.
BLOCK_RUNS = 128
#: Levels that a rate of about one in a million takes: what a budget of runs is shared over.
LEVELS = 6
#: Fewer runs a level than this leave too few beginnings of chains.
LEAST_PER_LEVEL = 100

STOPPED = "stopped by Ctrl-C before there was an answer"


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

    Ctrl-C ends it early; a requirement without an answer then says so.

    Parameters
    ----------
    setting : Setting
    names : sequence of str
        Requirements to estimate, fixed ones or own ones.
    runs : int
        About as many simulated runs for each of them, over all repetitions and levels.
    """
    each = max(LEAST_PER_LEVEL, runs // (REPETITIONS * LEVELS))
    wanted = [name for name in requirement_names(setting.lift) if name in names]
    rates: list[SmallRate] = []
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        try:
            for name in wanted:
                rates.append(_rate(setting, name, each, pool, progress))
        except KeyboardInterrupt:
            rates += [SmallRate(name, nothing_found(STOPPED)) for name in wanted[len(rates) :]]
    return tuple(rates)


def _rate(
    setting: Setting,
    name: str,
    runs_per_level: int,
    pool: Executor,
    progress: Callable[[str, int, int], None] | None,
) -> SmallRate:
    aim = Aims.named(setting, name)

    def margin(z: Floats, numbers: NDArray[np.int64]) -> Floats:
        def block(first: int) -> Floats:
            part = slice(first, first + BLOCK_RUNS)
            made = drawn(setting, z[part], numbers[part])
            return (aim.own_margins if aim.own else aim.fixed_margins)(made)[:, 0]

        return np.concatenate(list(pool.map(block, range(0, len(z), BLOCK_RUNS))))

    def done(so_far: int, of: int) -> None:
        if progress is not None:
            progress(f"small probability: {name}", so_far, of)

    found = small_probability(margin, columns_of(setting.lift), runs_per_level, seed=setting.seed, done=done)
    return SmallRate(name, found)


def drawn(setting: Setting, z: Floats, numbers: NDArray[np.int64]) -> Batch:
    """Runs given by standard-normal coordinates (n, d) and their run numbers (n,), ready for the kernel."""
    from scipy.special import ndtr

    return batch_of(setting, from_uniforms(setting.lift, ndtr(z)), numbers)
