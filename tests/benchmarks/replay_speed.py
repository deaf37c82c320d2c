"""How long ``downstop replay LOG --lift LIFT`` takes as a whole process, kernels warm.

The log: 90 s at 50 Hz that ends in an overrun by a late loop, made here with the simulator. Printed are the
median times of the whole process with and without the report, and each over the time of an interpreter that
only loads numpy, in the same run. Limit: 3 s with diagnosis and what-if. Not a test: run it by itself.

    python tests/benchmarks/replay_speed.py
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from statistics import median

import numpy as np

from homing.liftfile import Lift, load_lift
from homing.simulate import simulate

LIMIT_S, SECONDS, PERIOD_S, ROUNDS = 3.0, 90.0, 0.02, 3
#: A program that sends duties comes in fast, some of its loops are late, and little overtravel is allowed.
SETTINGS = {
    "drive.command": "duty",
    "routine.stop": "shorted",
    "routine.fast_speed_mm_s": 300.0,
    "routine.slow_zone_mm": 0.0,
    "controller.period_ms": 20.0,
    "requirements.overtravel_mm": 10.0,
}
LATE = {"controller.late_loop_probability": 0.2, "controller.late_loop_ms": 200.0}
#: Even moves out between the traces, and rest after them.
OUT_MM_S, OUT_DUTY, HOLD_DUTY, REST_ROWS = 250.0, 0.45, 0.1, 15
HEADS = ("t_s", "state", "command_fraction", "counts", "reading", "current_a", "battery_v")


def write_log(folder: Path, lift: Lift) -> Path:
    """Traces one after the other until `SECONDS` are full, the last ones with late loops."""
    blocks: list[list[str]] = []
    begin_s, seed = 0.0, 0
    while begin_s < SECONDS:
        late = begin_s > 0.8 * SECONDS
        trace = simulate(lift.replace(LATE) if late else lift, seed=seed).trace
        columns = {name: np.asarray(trace.columns[name]) for name in trace.columns}
        blocks.append(_lines(columns, begin_s, lift.sensor().name))
        begin_s += float(columns["t_s"][-1]) + PERIOD_S
        blocks.append(_way_out(columns, begin_s, lift))
        begin_s += len(blocks[-1]) * PERIOD_S
        seed += 1
    file = folder / "match.csv"
    file.write_text(",".join(HEADS) + "\n" + "\n".join(line for block in blocks for line in block) + "\n")
    return file


def _lines(columns: dict[str, np.ndarray], begin_s: float, sensor: str) -> list[str]:
    names = ("state", "command_fraction", "counts", f"reading_{sensor}", "current_a", "battery_v")
    rows = zip(columns["t_s"] + begin_s, *(columns[name] for name in names), strict=True)
    return [f"{first:.4f}," + ",".join(str(cell) for cell in rest) for first, *rest in rows]


def _way_out(columns: dict[str, np.ndarray], begin_s: float, lift: Lift) -> list[str]:
    """Rows of an even move out to where the next trace begins, so that the count goes on without a jump."""
    low, high = int(columns["counts"][-1]), int(columns["counts"][0])
    made = columns[f"reading_{lift.sensor().name}"]
    trip = int(np.max(columns["counts"][made > 0]))
    step = OUT_MM_S * PERIOD_S / lift.drive.mm_per_count
    counts = np.append(np.arange(low, high, step), np.full(REST_ROWS, high)).astype(np.int64)
    rows = []
    for row, count in enumerate(counts.tolist()):
        duty = OUT_DUTY if count < high else HOLD_DUTY
        cells = (f"{begin_s + row * PERIOD_S:.4f}", "out", duty, count, int(count <= trip), 1.0, 12.5)
        rows.append(",".join(str(cell) for cell in cells))
    return rows


def times_s(command: Sequence[str]) -> tuple[float, float]:
    """Median time and processor time of a process, the first one not counted [s].

    The second one says what the first would be on a machine with nothing else to do.
    """
    taken, worked = [], []
    for _ in range(ROUNDS + 1):
        start, before = time.perf_counter(), os.times()
        subprocess.run(command, check=True, capture_output=True)
        after = os.times()
        taken.append(time.perf_counter() - start)
        worked.append(sum(after[2:4]) - sum(before[2:4]))
    return median(taken[1:]), median(worked[1:])


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lift = load_lift(None).replace(SETTINGS)
        log = write_log(folder, lift)
        settings = folder / "lift.toml"
        settings.write_text(_lift_text())
        replay = [sys.executable, "-m", "homing", "replay", str(log), "--lift", str(settings), "--quiet"]
        bare = times_s([sys.executable, "-c", "import numpy"])
        plain = times_s([*replay, "--json", str(folder / "found.json")])
        found = json.loads((folder / "found.json").read_text())
        report = times_s([*replay, "--out", str(folder / "report")])
    print(f"{found['log']['rows']} rows, verdict {found['verdict']}, {len(found['what_if'])} changes tried")
    print(f"{'':<24}{'time':>8}{'processor':>11}{'over numpy alone':>18}   limit {LIMIT_S} s")
    rows = {"diagnosis and what-if": plain, "with the report": report, "python and numpy alone": bare}
    for words, (taken_s, worked_s) in rows.items():
        print(f"{words:<24}{taken_s:>6.2f} s{worked_s:>9.2f} s{worked_s / bare[1]:>16.1f} x")


def _lift_text() -> str:
    """The built-in lift file with `SETTINGS` in place of its own."""
    text = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    lines, section = [], ""
    for line in text.splitlines():
        section = line.strip(" []") if line.startswith("[") else section
        if f"{section}.{line.split('=')[0].strip()}" not in SETTINGS:
            lines.append(line)
        if line.startswith("["):
            own = {key: value for key, value in SETTINGS.items() if key.startswith(f"{section}.")}
            lines += [f"{key.split('.')[1]} = {json.dumps(value)}" for key, value in own.items()]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
