"""Worst case against random sampling: planted corners, the same number of runs for both.

Prints, for each planted corner and over several seeds, how often each found a failing point and the median of
the least margins. Run it as ``python tests/benchmarks/worst.py``; it is no test.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing import load_lift
from homing.setting import prepare
from homing.worst.cube import Cube
from homing.worst.margins import margins, searched
from homing.worst.search import search

Floats = NDArray[np.float64]

DIMENSIONS = 16
RUNS = 4000
SEEDS = range(10)


@dataclass(frozen=True)
class Planted:
    """A failing corner: margins of points (n, d), and its share of the cube where it is known."""

    name: str
    margins: Callable[[Floats], Floats]
    dimensions: int = DIMENSIONS
    share: float | None = None


def corner(points: Floats) -> Floats:
    """Five coordinates at once within 0.05 of one end: 0.05^5 of the cube, with a slope."""
    return (1.0 - points[:, :5]).max(axis=1)[:, None] - 0.05


def gated(points: Floats) -> Floats:
    """As ``corner`` with four, but only for one of seven kinds of start, without a slope between kinds."""
    inside = (1.0 - points[:, 1:5]).max(axis=1) - 0.06
    return np.where(np.floor(points[:, 0] * 7.0) == 4.0, inside, 1.0 + inside)[:, None]


def askew(points: Floats) -> Floats:
    """A corner that needs eight coordinates together: their sum within 0.8 of its largest value."""
    return 8.0 - points[:, :8].sum(axis=1)[:, None] - 0.8


def needle(points: Floats) -> Floats:
    """No slope at all, three coordinates within 0.05: here nothing can beat random sampling."""
    return np.where((points[:, :3] > 0.95).all(axis=1), -1.0, 1.0)[:, None]


def planted() -> list[Planted]:
    """The corners, those of plain functions first, then limits just beyond what thousands of runs reach."""
    plain = [
        Planted("five at once", corner, share=0.05**5),
        Planted("one start of seven, four at once", gated, share=0.06**4 / 7.0),
        Planted("eight together", askew, share=0.8**8 / 40320.0),
        Planted("needle without slope", needle, share=0.05**3),
    ]
    return plain + [
        on_lift(key, limit)
        for key, limit in (("overtravel_mm", 28.0), ("zero_error_mm", 1.95), ("time_to_zero_s", 10.4))
    ]


def on_lift(key: str, limit: float) -> Planted:
    """The example with a tight limit on one requirement."""
    setting = prepare(load_lift(None).replace({f"requirements.{key}": limit}))
    cube, wanted = Cube(setting), [r for r in searched(setting.lift, with_fault=False) if r.name == key]

    def measured(points: Floats) -> Floats:
        rows = np.vstack([cube.simulate(points[i : i + 48]) for i in range(0, len(points), 48)])
        return margins(setting, rows, tuple(wanted))

    return Planted(f"example, {key} over {limit:g}", measured, dimensions=len(cube.nominal))


def random_least(case: Planted, seed: int) -> float:
    """Least margin of the same number of points spread evenly at random."""
    points = np.random.default_rng(seed).random((RUNS, case.dimensions))
    return float(case.margins(points).min())


def main() -> None:
    """Print the table."""
    print(f"{RUNS} runs, {len(SEEDS)} seeds")
    print(
        f"{'planted corner':<40}{'share':>10}{'found: search':>15}{'random':>8}"
        f"{'least: search':>15}{'random':>9}"
    )
    for case in planted():
        searched_least = [
            float(search(case.margins, case.dimensions, 1, runs=RUNS, seed=seed).least[0]) for seed in SEEDS
        ]
        sampled = [random_least(case, seed) for seed in SEEDS]
        share = "" if case.share is None else f"{case.share:.1e}"
        print(
            f"{case.name:<40}{share:>10}"
            f"{sum(v < 0 for v in searched_least):>15}{sum(v < 0 for v in sampled):>8}"
            f"{np.median(searched_least):>15.3f}{np.median(sampled):>9.3f}"
        )


if __name__ == "__main__":
    main()
