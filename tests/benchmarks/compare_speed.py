"""How long a comparison takes: 12 candidates of 2000 runs each, and a candidate against one ``verify``.

    python tests/benchmarks/compare_speed.py

Not a test: times depend on the machine and on what else it does. Both sides of the ratio are timed in turn,
and the median of the ratios of neighbours is printed. Everything is warm: compiled, and run once before.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from homing.compare.candidate import study_candidate
from homing.compare.candidates import candidates_of
from homing.compare.judged import Means
from homing.compare.study import compare
from homing.liftfile import Lift, load_lift, parse
from homing.verify import verify

SHELVING = Path(__file__).parents[2] / "examples" / "shelving_robot" / "compare_sensors.toml"
#: The candidates of the example that are made and span nothing, three times over, each a little higher [mm].
KINDS = ("head_on_magnet", "strip_infrared", "distance_infrared", "roller_lever")
SHIFTS_MM = (-1.0, -0.5, 0.0)
GOAL_S = 6.0


def twelve_candidates() -> Lift:
    """The example's lift with twelve candidates."""
    from homing.assembly import assemble

    given: dict[str, Any] = parse(SHELVING.read_text(encoding="utf-8"), "benchmark")
    found = [table for table in given["candidate"] if table["name"] in KINDS]
    given["candidate"] = [
        {**table, "name": f"{table['name']}_{place}", "mount_mm": table["mount_mm"] + shift}
        for place, shift in enumerate(SHIFTS_MM)
        for table in found
    ]
    given["tolerances"] = {
        key: form for key, form in given["tolerances"].items() if not key.startswith("candidate.")
    }
    return assemble(given, "benchmark")


def seconds(work: Callable[[], Any]) -> tuple[float, float]:
    """Wall and processor time [s]."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    lift = twelve_candidates()
    candidates = candidates_of(lift)
    compare(load_lift(), runs=64)
    whole = [seconds(lambda: compare(lift, runs=options.runs)) for _ in range(options.rounds)]
    print(f"{os.cpu_count()} cores, {len(candidates)} candidates, {options.runs} runs each")
    print(f"compare, with mounting advice      {min(wall for wall, _ in whole):6.2f} s (goal {GOAL_S:g} s)")
    print(f"  processor time                   {min(cpu for _, cpu in whole):6.2f} s")
    alone = seconds(lambda: [study_candidate(each, options.runs, Means()) for each in candidates])
    print(f"  the candidates alone, in a row   {alone[0]:6.2f} s")
    ratios = []
    for candidate in candidates[: len(KINDS)]:
        mine = seconds(lambda each=candidate: study_candidate(each, options.runs, Means()))[1]
        theirs = seconds(lambda each=candidate: verify(each.lift, runs=options.runs))[1]
        ratios.append(mine / theirs)
    print(f"a candidate over one verify        {median(ratios):6.2f} x (processor time, median of kinds)")


if __name__ == "__main__":
    main()
