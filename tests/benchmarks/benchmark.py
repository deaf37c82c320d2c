"""Accuracy, speed and size of the simulation, as ratios measured in one run on one machine.

    python tests/benchmarks/benchmark.py                  everything, a few minutes
    python tests/benchmarks/benchmark.py accuracy scipy   only these

Not a test: times depend on the machine and on what else it does. Both sides of a ratio are timed in turn,
several times, and the median of the ratios of neighbours is printed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "physics"))

from engine_lift import build
from ode_lift import OdeLift
from ode_loop import KernelRun, kernel_run, replayed

from homing.batches import batch
from homing.ensemble import run_many
from homing.kernel.layout import RESULT_COLUMNS
from homing.liftfile import load_lift
from homing.setting import prepare
from homing.simulate import run_block

STOP, OVER, SLACK, END = (
    RESULT_COLUMNS.index(name) for name in ("stop_distance_m", "overtravel_m", "slack_m", "end_s")
)
DISCRETE = [RESULT_COLUMNS.index(name) for name in ("ended", "reason", "ticks")]
ROUNDS = 5


@dataclass(frozen=True)
class Figure:
    """One measured figure; ``goal`` None: for information."""

    what: str
    value: float
    unit: str
    goal: float | None = None
    at_least: bool = False

    @property
    def met(self) -> str:
        if self.goal is None:
            return ""
        good = self.value >= self.goal if self.at_least else self.value <= self.goal
        return "ok" if good else "MISSED"

    def __str__(self) -> str:
        sign = ">=" if self.at_least else "<="
        goal = "" if self.goal is None else f"{sign} {self.goal:g}"
        return f"{self.what:<66} {self.value:>11.4g} {self.unit:<6} {goal:<9} {self.met}"


def seconds(work: Callable[[], Any]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def ratio(
    slow: Callable[[], float], fast: Callable[[], float], rounds: int = ROUNDS
) -> tuple[float, float, float]:
    """Medians of both sides' times, each per unit of work, and of the ratio of neighbours."""
    pairs = [(slow(), fast()) for _ in range(rounds)]
    return median(a for a, _ in pairs), median(b for _, b in pairs), median(a / b for a, b in pairs)


# --- accuracy -----------------------------------------------------------------------------------------


def accuracy(lifts: int = 400) -> Iterator[Figure]:
    """Error of the integrator against steps with a thousandth of the error, which scipy confirms in tests."""
    setting = prepare(load_lift(None), seed=11)
    ours = run_block(setting, np.arange(lifts))
    tight = run_block(replace(setting, error_share=1e-3), np.arange(lifts))
    same = np.all(ours[:, DISCRETE] == tight[:, DISCRETE], axis=1)
    goals = {
        "stop distance": (STOP, 0.005, 0.03),
        "overtravel": (OVER, None, None),
        "slack": (SLACK, None, None),
    }
    for name, (column, middle, high) in goals.items():
        error = 1000 * np.abs(ours[:, column] - tight[:, column])
        yield Figure(
            f"error of the {name}, median of {lifts} lifts", float(np.nanmedian(error)), "mm", middle
        )
        yield Figure(f"error of the {name}, 95 %", float(np.nanquantile(error, 0.95)), "mm", high)
    yield Figure("lifts in which a discrete decision flipped", 100 * float(np.mean(~same)), "%", 2.0)


# --- kernel against general tools ---------------------------------------------------------------------


def sampled(count: int) -> tuple[Any, Any, list[KernelRun]]:
    setting = prepare(load_lift(None), seed=11)
    runs = batch(setting, np.arange(count))
    return setting, runs, [kernel_run(setting, runs, i) for i in range(count)]


def kernel_time(setting: Any, runs: int = 400) -> Callable[[], float]:
    """Kernel time per simulated second on one core, sensors' tables included."""
    simulated = float(run_block(setting, np.arange(runs))[:, END].sum())
    return lambda: seconds(lambda: run_block(setting, np.arange(runs))) / simulated


def scipy(lifts: int = 6) -> Iterator[Figure]:
    """LSODA, relative tolerance 1e-9, started anew at each loop, command and event."""
    setting, runs, kernels = sampled(lifts)
    simulated = sum(float(kernel.trace[-1, 0]) for kernel in kernels)
    evaluations = 0

    def work() -> None:
        nonlocal evaluations
        evaluations = sum(
            replayed(setting, runs, i, kernel, solver="LSODA").evaluations for i, kernel in enumerate(kernels)
        )

    slow, ours, factor = ratio(lambda: seconds(work) / simulated, kernel_time(setting), 3)
    lift = OdeLift(runs.runs[0])
    forces = seconds(lambda: [lift.forces(0.0, lift.y) for _ in range(20_000)]) / 20_000
    bare = slow - evaluations * forces / simulated
    yield Figure("kernel, per simulated second", 1e6 * ours, "us")
    yield Figure("scipy LSODA 1e-9", 1e6 * slow, "us")
    yield Figure("  times slower than the kernel", factor, "x", 100.0, at_least=True)
    yield Figure("  if its right-hand side, in Python, took no time at all", bare / ours, "x")


def engine(lifts: int = 6) -> Iterator[Figure]:
    """MuJoCo at 1 ms, stepping only: the same joints, tendon, friction and limit, a new force each loop."""
    import mujoco

    setting, runs, kernels = sampled(lifts)
    simulated = sum(float(kernel.trace[-1, 0]) for kernel in kernels)
    models = [build(runs.runs[i], softness_s=2.5e-3) for i in range(lifts)]

    def work() -> None:
        for (model, data), kernel in zip(models, kernels, strict=True):
            mujoco.mj_resetData(model, data)
            for length in np.diff(kernel.trace[:, 0]):
                steps = max(1, round(length / 1e-3))
                model.opt.timestep = length / steps
                data.qfrc_applied[:] = -10.0, 12.0
                mujoco.mj_step(model, data, steps)

    slow, _, factor = ratio(lambda: seconds(work) / simulated, kernel_time(setting))
    yield Figure("physics engine at 1 ms, steps only", 1e6 * slow, "us")
    yield Figure("  times slower than the kernel", factor, "x", 25.0, at_least=True)


def workers(runs: int = 5000) -> Iterator[Figure]:
    """The ensemble on one and on two threads."""
    setting = prepare(load_lift(None), seed=11)
    run_many(setting, np.arange(512), workers=2)

    def with_workers(count: int) -> Callable[[], float]:
        return lambda: seconds(lambda: run_many(setting, np.arange(runs), workers=count))

    one, two, factor = ratio(with_workers(1), with_workers(2))
    yield Figure(f"{runs} runs, one worker", one, "s")
    yield Figure(f"{runs} runs, two workers", two, "s")
    yield Figure("  gain of the second", factor, "x", 1.8, at_least=True)
    same = np.array_equal(
        run_many(setting, np.arange(1000), workers=1),
        run_many(setting, np.arange(1000), workers=2),
        equal_nan=True,
    )
    yield Figure("  same bytes (1: yes)", float(same), "", 1.0, at_least=True)


# --- whole processes ----------------------------------------------------------------------------------


def process(*arguments: str, cache: str | None = None) -> tuple[float, float]:
    """Time [s] and largest memory [MB] of one ``downstop`` process."""
    environment = {**os.environ, **({"DOWNSTOP_CACHE": cache} if cache else {})}
    start = time.perf_counter()
    command = [sys.executable, "-m", "homing", *arguments]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
    _, status, usage = os.wait4(running.pid, 0)
    running.returncode = os.waitstatus_to_exitcode(status)
    if running.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(command)} ended with {running.returncode}")
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def processes() -> Iterator[Figure]:
    """Whole processes with a warm cache, and the first ever with an empty one."""
    process("verify", "--runs", "300", "--quiet")
    for what, arguments, goal in (
        ("downstop --help", ("--help",), 0.3),
        ("downstop verify, 2000 runs and the fault table", ("verify", "--quiet"), 3.0),
        ("downstop verify, 10,000 runs", ("verify", "--runs", "10000", "--quiet"), 4.0),
    ):
        yield Figure(what, median(process(*arguments)[0] for _ in range(ROUNDS)), "s", goal)
    with tempfile.TemporaryDirectory() as empty:
        yield Figure(
            "downstop verify, first ever run, compiling",
            process("verify", "--quiet", cache=empty)[0],
            "s",
            30.0,
        )


def memory() -> Iterator[Figure]:
    """100,000 runs in one process."""
    taken, peak = process("verify", "--runs", "100000", "--quiet")
    yield Figure("downstop verify, 100,000 runs", taken, "s")
    yield Figure("  largest memory", peak, "MB", 1024.0)


PARTS = {part.__name__: part for part in (accuracy, scipy, engine, workers, processes, memory)}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", help=f"any of {', '.join(PARTS)}; all by default")
    chosen = parser.parse_args().parts or list(PARTS)
    unknown = [part for part in chosen if part not in PARTS]
    if unknown:
        parser.error(f"parts must be of {', '.join(PARTS)}; got {', '.join(unknown)}")
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, numpy {np.__version__}")
    for part in chosen:
        for figure in PARTS[part]():
            print(figure, flush=True)


if __name__ == "__main__":
    main()
