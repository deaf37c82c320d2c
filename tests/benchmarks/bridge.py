"""Loops a second with a program as the controller, and processor time a loop; prints a table.

    python tests/benchmarks/bridge.py [RUNS]

Take the figures on a machine that does nothing else: every loop is handed from one process to another.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from homing import load_lift
from homing.bridge.controller import Program
from homing.bridge.study import play_many
from homing.kernel.layout import RESULT_COLUMNS
from homing.setting import Setting, prepare

PROGRAMS = Path(__file__).parents[2] / "examples" / "programs"
TICKS = RESULT_COLUMNS.index("ticks")


def commands(place: str) -> dict[str, str]:
    """The example programs in the languages that are there."""
    found = {"python": f'"{sys.executable}" "{PROGRAMS / "lift_routine.py"}"'}
    if shutil.which("g++"):
        made = f"{place}/lift_routine"
        subprocess.run(
            ["g++", "-std=c++17", "-O2", "-o", made, str(PROGRAMS / "lift_routine.cpp")], check=True
        )
        found["compiled"] = f'"{made}"'
    return found


def measure(setting: Setting, command: str, runs: int, workers: int) -> tuple[float, float]:
    """Loops a second once everything is started, and processor time a loop of all processes [us]."""
    took = []
    for count in (64 * workers, 64 * workers + runs):
        start_s, start = time.perf_counter(), os.times()
        rows = play_many(setting, Program(command), np.arange(count), workers=workers).rows
        end = os.times()
        used_s = sum(end[:4]) - sum(start[:4])
        took.append((time.perf_counter() - start_s, used_s, rows[:, TICKS].sum()))
    (few_s, few_used, few), (many_s, many_used, many) = took
    return (many - few) / (many_s - few_s), 1e6 * (many_used - few_used) / (many - few)


def main() -> None:
    """Print the table."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 512
    setting = prepare(load_lift(None))
    print(f"{'program':<10}{'workers':>8}{'loops/s':>10}{'us processor time a loop':>26}")
    with tempfile.TemporaryDirectory() as place:
        for name, command in commands(place).items():
            for workers in (1, 2):
                rate, cost = measure(setting, command, runs, workers)
                print(f"{name:<10}{workers:>8}{rate:>10.0f}{cost:>26.1f}")


if __name__ == "__main__":
    main()
