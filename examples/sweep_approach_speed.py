"""How far does the lift run past its sensor, the faster it comes in?

Covers: a changed lift (``Lift.replace``), an ensemble of drawn runs, quantiles against a limit, a figure.

Scenario: the mast of the shelving robot takes its time coming down, and its driver would like it faster.
Every approach speed is simulated with the same drawn lifts (tolerances, starts, late loops), so that nothing
but the speed differs from one line to the next. Only the runs that start well above the sensor count, since
the others never come in fast. The table and the figure show where the limit is reached: by the worst run in a
hundred much earlier than by the typical one, and what that buys in time.

    python examples/sweep_approach_speed.py --runs 1000 --out sweep
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

import homing
from homing.draws import Start
from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.liftfile import Lift
from homing.setting import prepare
from homing.statistics import quantiles

SPEEDS = (80, 120, 160, 200, 240, 280, 320, 360, 400)  # approach speeds to try [mm/s]
RUNS = 1000  # drawn lifts at each speed
SEED = 1  # the same for every speed
SHARES = (0.5, 0.99)  # quantiles to show
FROM_ABOVE = (Start.NOMINAL, Start.ANYWHERE, Start.AT_TOP)  # starts that count
SIZE = (6.4, 4.0)  # of the figure [inch]
DPI = 160  # of the PNG [dots per inch]


@dataclass(frozen=True)
class Line:
    """What one approach speed costs."""

    speed_mm_s: float
    median_mm: float
    p99_mm: float
    time_s: float
    over_share: float


def at_speed(lift: Lift, speed_mm_s: float, runs: int) -> Line:
    """Run the ensemble at one approach speed."""
    setting = prepare(lift.replace({"routine.fast_speed_mm_s": speed_mm_s}), SEED)
    numbers = np.arange(runs)
    ensemble = as_ensemble(setting, numbers, run_many(setting, numbers))
    overtravel_mm = ensemble.metrics["overtravel_mm"][np.isin(ensemble.start, FROM_ABOVE)]
    median_mm, p99_mm = quantiles(overtravel_mm, SHARES)
    time_s = float(nominal_ensemble(setting).metrics["time_to_zero_s"][0])
    over = float(np.mean(overtravel_mm > lift.requirements.overtravel_mm))
    return Line(speed_mm_s, median_mm, p99_mm, time_s, over)


def print_table(lines: Sequence[Line], limit_mm: float) -> None:
    """One row a speed; the fastest that keeps the limit in 99 of 100 runs is named below."""
    print(f"{'speed':>8} {'overtravel':>12} {'99 of 100':>12} {'over':>8} {'zeroed in':>10}")
    print(f"{'mm/s':>8} {'median mm':>12} {'below mm':>12} {'limit':>8} {'nominal s':>10}")
    for line in lines:
        figures = f"{line.median_mm:12.1f} {line.p99_mm:12.1f} {line.over_share:8.1%} {line.time_s:10.1f}"
        print(f"{line.speed_mm_s:8.0f} {figures}")
    kept = [line.speed_mm_s for line in lines if line.p99_mm <= limit_mm]
    if kept:
        print(f"Up to {max(kept):.0f} mm/s, 99 of 100 runs stay within {limit_mm:g} mm.")
    else:
        print(f"At none of these speeds do 99 of 100 runs stay within {limit_mm:g} mm.")


def draw(lines: Sequence[Line], limit_mm: float, axes: Axes) -> None:
    """Overtravel over speed: median, the worst in a hundred, the limit."""
    speed_mm_s = [line.speed_mm_s for line in lines]
    p99_mm, median_mm = [line.p99_mm for line in lines], [line.median_mm for line in lines]
    axes.plot(speed_mm_s, p99_mm, "o-", color="#d55e00", label="99 of 100 runs below")
    axes.plot(speed_mm_s, median_mm, "s--", color="#0072b2", label="median run")
    axes.axhline(limit_mm, color="#1b1f24", linestyle=":", label=f"limit, {limit_mm:g} mm")
    axes.set_xlabel("approach speed [mm/s]")
    axes.set_ylabel("overtravel past the trip height [mm]")
    axes.set_ylim(bottom=0.0)
    axes.grid(alpha=0.3)
    axes.legend(frameon=False)


def save_figure(lines: Sequence[Line], lift: Lift, folder: Path) -> list[Path]:
    """Write the figure as PNG and SVG."""
    figure = Figure(figsize=SIZE, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    draw(lines, lift.requirements.overtravel_mm, axes)
    axes.set_title(f"{lift.name}: the price of speed", loc="left")
    folder.mkdir(parents=True, exist_ok=True)
    files = [folder / f"overtravel_over_speed.{form}" for form in ("png", "svg")]
    for file in files:
        figure.savefig(file, dpi=DPI)
    return files


def main() -> None:
    """Read the options, sweep, print and draw."""
    parser = argparse.ArgumentParser(description="Sweep the approach speed of the built-in lift.")
    parser.add_argument("--runs", type=int, default=RUNS, help=f"runs at each speed (default {RUNS})")
    parser.add_argument("--out", type=Path, default=Path("sweep"), help="folder of the figure (sweep)")
    options = parser.parse_args()
    if options.runs < 1:
        parser.error("--runs must be at least 1")
    lift = homing.load_lift()
    lines = [at_speed(lift, speed, options.runs) for speed in SPEEDS]
    print_table(lines, lift.requirements.overtravel_mm)
    for file in save_figure(lines, lift, options.out):
        print(file)


if __name__ == "__main__":
    main()
