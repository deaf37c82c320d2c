"""Many runs: the same bytes for any workers, executor, order and block; interrupted cleanly."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from homing.draws import draw
from homing.ensemble import BLOCK_RUNS, as_ensemble, nominal_ensemble, run_many
from homing.faults import FaultPlan, run_numbers
from homing.kernel.layout import RESULT_COLUMNS
from homing.liftfile import Lift
from homing.results import METRICS, Outcome
from homing.setting import Setting, prepare
from homing.simulate import simulate

#: Two whole blocks and a part of one.
NUMBERS = np.arange(2 * BLOCK_RUNS + 40, dtype=np.int64)


@pytest.fixture(scope="module")
def by_one_worker(example_setting: Setting) -> bytes:
    return run_many(example_setting, NUMBERS, workers=1).tobytes()


@pytest.mark.parametrize("workers", [2, 3])
def test_any_number_of_workers_gives_the_same_bytes(
    example_setting: Setting, by_one_worker: bytes, workers: int
) -> None:
    assert run_many(example_setting, NUMBERS, workers=workers).tobytes() == by_one_worker


def test_a_thread_pool_gives_the_same_bytes(example_setting: Setting, by_one_worker: bytes) -> None:
    with ThreadPoolExecutor(2) as pool:
        assert run_many(example_setting, NUMBERS, executor=pool).tobytes() == by_one_worker


def test_a_process_pool_gives_the_same_bytes(example_setting: Setting, by_one_worker: bytes) -> None:
    # fresh interpreters, as on every system: nothing is inherited by luck
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        assert run_many(example_setting, NUMBERS, executor=pool).tobytes() == by_one_worker


@pytest.mark.filterwarnings("ignore")  # warnings of the scheduler's own start and stop are not ours
def test_a_distributed_scheduler_gives_the_same_bytes(example_setting: Setting, by_one_worker: bytes) -> None:
    distributed = pytest.importorskip("distributed", reason="needs the extra 'scale' (dask.distributed)")
    with (
        distributed.Client(
            processes=False, n_workers=1, threads_per_worker=2, dashboard_address=None
        ) as client,
        client.get_executor() as pool,
    ):
        assert run_many(example_setting, NUMBERS, executor=pool).tobytes() == by_one_worker


class LastFirst(Executor):
    """Does its work at once, and hands back the last piece first."""

    def __init__(self) -> None:
        self.waiting: list[tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:  # type: ignore[override]
        future: Future[Any] = Future()
        self.waiting.append((future, fn, args))
        if len(self.waiting) == 3:
            for each, work, with_args in reversed(self.waiting):
                each.set_result(work(*with_args))
        return future


def test_the_order_in_which_blocks_come_back_does_not_matter(
    example_setting: Setting, by_one_worker: bytes
) -> None:
    assert run_many(example_setting, NUMBERS, executor=LastFirst()).tobytes() == by_one_worker


def test_an_executor_that_was_passed_in_is_left_running(example_setting: Setting) -> None:
    with ThreadPoolExecutor(1) as pool:
        run_many(example_setting, NUMBERS[:2], executor=pool)
        assert pool.submit(lambda: 42).result() == 42


def test_another_seed_gives_other_bytes(example: Lift, by_one_worker: bytes) -> None:
    other = np.frombuffer(run_many(prepare(example, seed=4), NUMBERS, workers=2).tobytes())
    same = np.frombuffer(by_one_worker) == other
    column = RESULT_COLUMNS.index("trip_m")
    assert not same.reshape(len(NUMBERS), -1)[:, column].any()


def test_fault_runs_too_are_the_same_for_any_workers(example_setting: Setting) -> None:
    numbers = run_numbers(example_setting.lift, 12)
    assert len(numbers) > BLOCK_RUNS
    once, twice = (run_many(example_setting, numbers, faults=FaultPlan(), workers=w) for w in (1, 2))
    assert once.tobytes() == twice.tobytes()


def test_run_k_alone_is_row_k_of_the_ensemble(example: Lift, example_setting: Setting) -> None:
    found = as_ensemble(example_setting, NUMBERS, run_many(example_setting, NUMBERS, workers=2))
    for number in (0, 1, 255, 256, 300, 551):
        alone = simulate(example, seed=3, run=number)
        for name in METRICS:
            assert np.array_equal(alone.metrics[name], found.metrics[name][number], equal_nan=True), name
        assert alone.outcome == found.outcome[number]


def test_rows_come_in_the_order_of_their_numbers(example_setting: Setting) -> None:
    forwards = run_many(example_setting, NUMBERS[:300], workers=2)
    backwards = run_many(example_setting, NUMBERS[:300][::-1].copy(), workers=2)
    assert np.array_equal(forwards, backwards[::-1], equal_nan=True)


def test_progress_counts_every_run_once(example_setting: Setting) -> None:
    told: list[tuple[int, int]] = []
    run_many(example_setting, NUMBERS, workers=2, progress=lambda done, of: told.append((done, of)))
    assert [of for _, of in told] == [len(NUMBERS)] * 3
    assert sorted(done for done, _ in told) == [done for done, _ in told]
    assert told[-1][0] == len(NUMBERS)


def test_an_interruption_propagates_and_leaves_no_thread_behind(example_setting: Setting) -> None:
    before = set(threading.enumerate())

    def interrupt(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_many(example_setting, np.arange(20 * BLOCK_RUNS), workers=2, progress=interrupt)
    assert set(threading.enumerate()) <= before


def test_no_runs_are_no_rows(example_setting: Setting) -> None:
    assert run_many(example_setting, NUMBERS[:0]).shape == (0, len(RESULT_COLUMNS))


def test_an_ensemble_is_in_the_units_of_the_contract(example_setting: Setting) -> None:
    results = run_many(example_setting, NUMBERS[:300], workers=2)
    found = as_ensemble(example_setting, NUMBERS[:300], results)
    assert (len(found), found.seed) == (300, 3)
    assert found.metrics["trip_mm"] == pytest.approx(results[:, RESULT_COLUMNS.index("trip_m")] * 1e3)
    assert np.array_equal(found.start, draw(example_setting.lift, 3, NUMBERS[:300]).start_kind)
    assert sum(found.share(outcome) for outcome in Outcome) == pytest.approx(1.0)


def test_the_nominal_ensemble_is_the_nominal_run(example: Lift, example_setting: Setting) -> None:
    found, run = nominal_ensemble(example_setting), simulate(example, seed=3)
    assert len(found) == 1
    for name in METRICS:
        assert np.array_equal(found.metrics[name][0], run.metrics[name], equal_nan=True), name


ORACLE = """
import sys, numpy as np
from homing.faults import FaultPlan, run_numbers
from homing.liftfile import load_lift
from homing.setting import prepare
from homing.simulate import run_block
for path in (None, *sys.argv[1:]):
    setting = prepare(load_lift(path), seed=3)
    faulty = run_numbers(setting.lift, 1)[[3]]
    for rows in (run_block(setting, np.arange(1)), run_block(setting, faulty, FaultPlan())):
        sys.stdout.write(rows.tobytes().hex() + "\\n")
"""


def test_uncompiled_kernels_give_the_same_bits() -> None:
    """Plain Python is the test oracle of the compiled kernels: not a bit may differ."""
    folder = Path(__file__).parents[2]
    said = []
    for disabled in ("0", "1"):
        environment = {**os.environ, "NUMBA_DISABLE_JIT": disabled, "PYTHONPATH": str(folder)}
        contact = str(folder / "examples" / "shelving_robot" / "contact.toml")  # it bounces: more branches
        done = subprocess.run(
            [sys.executable, "-c", ORACLE, contact],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        said.append(done.stdout)
    assert len(said[0].split()) == 4
    assert said[0] == said[1]
