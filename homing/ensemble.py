"""Many runs spread over the cores, with results that do not depend on who computed them.

Runs are cut into blocks of fixed size; a block is the unit of work, of progress and of interruption.
Every run draws its numbers from its own run number, and results are written by run number, so the same
seed gives the same bytes for any number of workers and any executor.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor, as_completed
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.draws import draw
from homing.kernel.layout import RESULT_COLUMNS
from homing.measures import metrics, outcomes
from homing.results import Ensemble
from homing.setting import Setting
from homing.simulate import run_block, run_nominal

if TYPE_CHECKING:
    from homing.faults import FaultPlan

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Runs in a block: enough to hide the cost of starting one, few enough to share out.
BLOCK_RUNS = 256

#: Told after every finished block: runs done so far, runs in all.
Progress = Callable[[int, int], None]


def run_many(
    setting: Setting,
    indices: Indices,
    *,
    faults: FaultPlan | None = None,
    executor: Executor | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Floats:
    """Simulate the runs with these numbers.

    Parameters
    ----------
    setting : Setting
    indices : ndarray, shape (n,)
        Run numbers.
    faults : FaultPlan, optional
    executor : concurrent.futures.Executor, optional
        Runs the blocks; a thread pool of ``workers`` by default. Processes and clusters work too.
    workers : int, optional
        Threads of the default pool; as many as cores by default.
    progress : callable, optional
        Called with (done, all) after every block.

    Returns
    -------
    ndarray, shape (n, columns)
        Result rows in the order of ``indices``, columns ``RESULT_COLUMNS``, SI.
    """
    blocks = [indices[i : i + BLOCK_RUNS] for i in range(0, len(indices), BLOCK_RUNS)]
    results = np.empty((len(indices), len(RESULT_COLUMNS)))
    own = ThreadPoolExecutor(workers or os.cpu_count() or 1) if executor is None else None
    pool = executor if own is None else own
    assert pool is not None
    try:
        _gather(pool, setting, blocks, faults, results, progress)
    finally:
        if own is not None:
            own.shutdown(wait=True, cancel_futures=True)
    return results


def _gather(
    pool: Executor,
    setting: Setting,
    blocks: Sequence[Indices],
    faults: FaultPlan | None,
    results: Floats,
    progress: Progress | None,
) -> None:
    waiting: dict[Future[Floats], int] = {
        pool.submit(run_block, setting, block, faults): number for number, block in enumerate(blocks)
    }
    done = 0
    try:
        for future in as_completed(waiting):
            start = waiting[future] * BLOCK_RUNS
            rows = future.result()
            results[start : start + len(rows)] = rows
            done += len(rows)
            if progress is not None:
                progress(done, len(results))
    finally:
        for future in waiting:
            future.cancel()


def nominal_ensemble(setting: Setting) -> Ensemble:
    """The nominal run as an ensemble of one, to be judged like any other."""
    return converted(setting, run_nominal(setting), np.zeros(1, dtype=np.int8))


def as_ensemble(setting: Setting, indices: Indices, results: Floats) -> Ensemble:
    """Result rows as an ``Ensemble`` in the units of the contract."""
    starts = draw(setting.lift, setting.seed, indices).start_kind.astype(np.int8)
    return converted(setting, results, starts)


def converted(
    setting: Setting, results: Floats, starts: NDArray[np.int8], reasons: Mapping[int, str] | None = None
) -> Ensemble:
    """Result rows with where they started; ``reasons`` says what their numbers mean, by default the table."""
    codes = results[:, RESULT_COLUMNS.index("reason")].astype(np.int16)
    if reasons is None:
        reasons = {code: setting.table.reason_text(code) for code in np.unique(codes).tolist() if code}
    return Ensemble(
        seed=setting.seed,
        metrics=metrics(results, setting.lift),
        outcome=outcomes(results, setting.lift),
        reason=codes,
        start=starts,
        moving_at_end=results[:, RESULT_COLUMNS.index("moving_at_end")] > 0.0,
        reason_texts=reasons,
    )
