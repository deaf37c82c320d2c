"""Speed and size of the reader on one hour at 1 kHz, as ratios measured in one run on one machine.

    python tests/benchmarks/reading.py                    reading and the whole diagnosis
    python tests/benchmarks/reading.py --rows 360000      a tenth of it
    python tests/benchmarks/reading.py read               only the reader

Not a test: times depend on the machine and on what else it does. Each side runs in a process of its own,
in turn, so that its largest memory is its own too; the median of the ratios of neighbours is printed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import numpy as np
import polars as pl

#: One hour at 1 kHz.
ROWS = 3_600_000
ROUNDS = 3
#: The issue's limits: times polars' own parse, and times the bytes of the arrays that come of it.
TIME_RATIO, MEMORY_RATIO = 3.0, 6.0


def write_log(path: Path, rows: int) -> None:
    """A lift at 1 kHz that comes in and goes out every 20 s: 400 mm at 0.44 mm a count."""
    time_s = np.arange(rows) / 1000.0
    part = (time_s % 20.0) / 20.0
    height = 400.0 * np.clip(2.5 * np.abs(2 * part - 1) - 0.75, 0.0, 1.0)
    counts = np.floor(height / 0.44).astype(np.int64)
    speed = np.gradient(height, 0.001)
    rng = np.random.default_rng(7)
    frame = pl.DataFrame(
        {
            "t_s": time_s,
            "counts": counts,
            "command": np.round(speed / 250.0, 3),
            "sensor": (height < 8.0).astype(np.int64),
            "battery_v": np.round(12.6 - 0.2 * np.abs(speed) / 250.0 + 0.01 * rng.normal(size=rows), 3),
            "current_a": np.round(np.abs(speed) / 100.0 + 0.05 * np.abs(rng.normal(size=rows)), 3),
            "state": np.where(speed < -1.0, "in", np.where(speed > 1.0, "out", "rest")),
        }
    )
    frame.write_csv(path, float_precision=3)


PARSE = """
import polars as pl
frame = pl.read_csv(path)
assert frame.height == rows
arrays = 0
"""

READ = """
from replay import read_log
log = read_log(path)
assert len(log) == rows, log.defects
arrays = log.time_s.nbytes + log.row.nbytes + sum(each.nbytes for each in log.values.values())
"""

DIAGNOSE = """
from replay import diagnose, read_log
log = read_log(path)
arrays = log.time_s.nbytes + log.row.nbytes + sum(each.nbytes for each in log.values.values())
began = time.perf_counter()
found = diagnose(log)
print("visits", len(found.visits), found.verdict, file=sys.stderr)
"""

#: What every process does around its work: numpy and polars are loaded before the clock starts.
AROUND = """
import sys, time, resource
import numpy, polars
import replay.reading
path, rows = sys.argv[1], int(sys.argv[2])
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
began = time.perf_counter()
{work}
taken = time.perf_counter() - began
print(taken, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024, arrays)
"""


def measured(work: str, path: Path, rows: int) -> tuple[float, float, float]:
    """Time [s], memory taken over an idle process [bytes], bytes of the arrays."""
    command = [sys.executable, "-c", AROUND.format(work=work), str(path), str(rows)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    taken, memory, arrays = (float(word) for word in done.stdout.split())
    return taken, memory, arrays


def read(path: Path, rows: int) -> Iterator[str]:
    """`replay.read_log` against polars' parse of the same file."""
    pairs = [(measured(READ, path, rows), measured(PARSE, path, rows)) for _ in range(ROUNDS)]
    ours, theirs = (median(pair[side][0] for pair in pairs) for side in (0, 1))
    ratio = median(one[0] / other[0] for one, other in pairs)
    memory, arrays = median(one[1] for one, _ in pairs), pairs[0][0][2]
    yield f"polars' parse                 {theirs:8.2f} s"
    yield f"read_log                      {ours:8.2f} s"
    yield f"  times polars                {ratio:8.2f}    <= {TIME_RATIO:g}  {_met(ratio, TIME_RATIO)}"
    yield f"arrays of the log             {arrays / 1e6:8.0f} MB"
    yield f"largest memory while reading  {memory / 1e6:8.0f} MB"
    yield (
        f"  times its arrays            {memory / arrays:8.2f}    <= {MEMORY_RATIO:g}  "
        f"{_met(memory / arrays, MEMORY_RATIO)}"
    )


def diagnosis(path: Path, rows: int) -> Iterator[str]:
    """`replay.diagnose` on what was read."""
    taken, memory, arrays = measured(DIAGNOSE, path, rows)
    yield f"diagnose                      {taken:8.2f} s"
    yield f"largest memory with reading   {memory / 1e6:8.0f} MB, {memory / arrays:.2f} times the arrays"


def _met(value: float, goal: float) -> str:
    return "ok" if value <= goal else "MISSED"


PARTS = {"read": read, "diagnose": diagnosis}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", help=f"any of {', '.join(PARTS)}; all by default")
    parser.add_argument("--rows", type=int, default=ROWS)
    options = parser.parse_args()
    unknown = [part for part in options.parts if part not in PARTS]
    if unknown:
        parser.error(f"parts must be of {', '.join(PARTS)}; got {', '.join(unknown)}")
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, polars {pl.__version__}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hour.csv"
        write_log(path, options.rows)
        print(f"{options.rows} rows, {path.stat().st_size / 1e6:.0f} MB of text")
        for part in options.parts or list(PARTS):
            for line in PARTS[part](path, options.rows):
                print(line, flush=True)


if __name__ == "__main__":
    main()
