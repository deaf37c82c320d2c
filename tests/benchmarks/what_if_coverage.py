"""How well ``what_if`` foretells a change: bias of its middles, and how often its intervals hold the truth.

    python tests/benchmarks/what_if_coverage.py       40 starts of a lift driven by duty and one by speed
    python tests/benchmarks/what_if_coverage.py --starts 10

An overrun is simulated from many starting heights, which puts the loops everywhere beside the trip; its trace
is replayed, fitted, and asked. Then the simulator makes each change for real, from the same start. The log's
lift and the simulator's are the same here: what is judged is the way from log to answer, not the plant.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from homing.liftfile import Lift, load_lift
from homing.simulate import simulate
from replay.diagnosing import diagnose
from replay.fit import fit_logs
from replay.track import track_of
from replay.what_if import WhatIf, what_if

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "replay"))

from fitlogs import duty_lift, traced  # noqa: E402

LIMIT_MM = 12.0
#: A fast approach with a slow loop: it overruns.
OVERRUN = {
    "routine.fast_speed_mm_s": 300.0,
    "controller.period_ms": 50.0,
    "controller.sensor_latency_ms": 5.0,
}
#: Changes by the words that tell them, and as the simulator makes them.
MADE: dict[str, dict[str, float]] = {
    "as it was": {},
    "approach at": {"routine.fast_speed_mm_s": 150.0},
    "control loop": {"controller.period_ms": 25.0},
    "return string": {"string.return_string": True},
}
#: Starts lie this far apart and within this range [mm]: the golden section of 15 mm, the way in one loop, so
#: that they fall evenly beside the loops of every change.
APART_MM, FIRST_MM, RANGE_MM = 9.2705, 330.0, 150.0


def told(lift: Lift, fitted: bool) -> Iterator[tuple[str, WhatIf, float]]:
    """What is foretold of each change, beside what the simulator makes of it [mm]."""
    with tempfile.TemporaryDirectory() as folder:
        log = traced(lift, Path(folder))
    visit = diagnose(log, lift, limit_mm=LIMIT_MM).bad_visit
    if visit is None:
        return
    fit = fit_logs([log], lift) if fitted else None
    found = what_if(track_of(log), visit, lift, limit_mm=LIMIT_MM, fit=fit)
    if found is None:
        return
    for words, changes in MADE.items():
        each = found.as_it_was if not changes else next(e for e in found.changes if words in e.change)
        yield words, each, simulate(lift.replace(changes)).metrics["overtravel_mm"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--starts", type=int, default=40)
    parser.add_argument("--without-fit", action="store_true")
    chosen = parser.parse_args()
    example = load_lift(None)
    for name, base in (("duty", duty_lift(example)), ("speed", example)):
        rows = defaultdict(list)
        for k in range(chosen.starts):
            start = {"lift.start_mm": FIRST_MM + (APART_MM * k) % RANGE_MM}
            for words, each, truth in told(base.replace(OVERRUN | start), not chosen.without_fit):
                rows[words].append(
                    (each.overtravel_mm - truth, each.low <= truth <= each.high, each.high - each.low)
                )
        for words, found in rows.items():
            off, held, width = (np.array(column, dtype=np.float64) for column in zip(*found, strict=True))
            print(
                f"{name:<6} {words:<14} {len(off):>3} starts: middle {np.mean(off):+5.2f} mm "
                f"(median {np.median(off):+5.2f}, rms {np.sqrt(np.mean(off**2)):4.2f}), "
                f"held {np.mean(held):4.0%}, width {np.mean(width):4.1f} mm"
            )


if __name__ == "__main__":
    main()
