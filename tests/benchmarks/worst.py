"""Worst case against random sampling: planted corners, the same number of runs for all.

Prints, for each planted corner and over several seeds, how often each way found a failing point, and the
median of the least margins. The ways: the search; points of the same cube at random; for a lift, runs as the
ensemble draws them, where loops are late as rarely as the lift file says; and the search where no timing is
chosen, so that it has to draw late loops as well. Run it as ``python tests/benchmarks/worst.py``; it is no
test.
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
from homing.worst.study import faults_of

Floats = NDArray[np.float64]

DIMENSIONS = 16
RUNS = 4000
SEEDS, LIFT_SEEDS = range(10), range(5)
#: One loop in a million is late: no ensemble of this size meets it at the trip.
RARELY_LATE = {"controller.late_loop_probability": 1e-6}
#: A sensor that samples by itself, as slow as the loop: its phase and the loop's add up.
SAMPLED = {"sensor.bottom.sample_period_ms": 20.0}


@dataclass(frozen=True)
class Planted:
    """A failing corner: margins of points (n, d), and its share of the cube where it is known.

    ``untimed`` is the same without the coordinates of timing, for a lift.
    """

    name: str
    margins: Callable[[Floats], Floats]
    dimensions: int = DIMENSIONS
    share: float | None = None
    untimed: Planted | None = None


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


def late_at_once(points: Floats) -> Floats:
    """As a late loop: for one of seven ways, a place within 0.04 and two phases within 0.06 of theirs."""
    off = np.stack(
        [abs(points[:, 1] - 0.62) - 0.02, abs(points[:, 2] - 0.3) - 0.03, abs(points[:, 3] - 0.8) - 0.03]
    )
    inside = off.max(axis=0)
    return np.where(np.floor(points[:, 0] * 7.0) == 2.0, inside, 1.0 + inside)[:, None]


def planted() -> list[Planted]:
    """The corners: those of plain functions, then limits just beyond what thousands of runs reach, then those
    that only timing brings about.
    """
    return [
        Planted("five at once", corner, share=0.05**5),
        Planted("one start of seven, four at once", gated, share=0.06**4 / 7.0),
        Planted("eight together", askew, share=0.8**8 / 40320.0),
        Planted("needle without slope", needle, share=0.05**3),
        Planted("one way of seven, place and two phases", late_at_once, share=0.04 * 0.06**2 / 7.0),
        on_lift("overtravel_mm", 28.0),
        on_lift("zero_error_mm", 2.05),
        on_lift("time_to_zero_s", 10.4),
        on_lift("overtravel_mm", 20.0, "one loop in 1e6 late", RARELY_LATE),
        on_lift("overtravel_mm", 30.7, "sampling sensor", SAMPLED),
        on_lift("time_to_zero_s", 11.0, "one loop in 1e6 late", RARELY_LATE),
        on_lift("overtravel_mm", 58.0, "stale readings", fault="stale readings"),
        on_lift("overtravel_mm", 62.0, "supply dip", fault="supply dip"),
    ]


def on_lift(
    key: str, limit: float, what: str = "", changes: dict[str, float] | None = None, fault: str | None = None
) -> Planted:
    """The example with a tight limit on one requirement."""
    setting = prepare(load_lift(None).replace({f"requirements.{key}": limit, **(changes or {})}))
    wanted = tuple(r for r in searched(setting.lift, with_fault=fault is not None) if r.name == key)

    def with_cube(cube: Cube, untimed: Planted | None) -> Planted:
        def measured(points: Floats) -> Floats:
            rows = np.vstack([cube.simulate(points[i : i + 48]) for i in range(0, len(points), 48)])
            return margins(setting, rows, wanted)

        name = f"{key} over {limit:g}" + (f", {what}" if what else "")
        return Planted(name, measured, dimensions=len(cube.nominal), untimed=untimed)

    faults = faults_of(setting.lift, fault)
    return with_cube(Cube(setting, faults), with_cube(Cube(setting, faults, searched=()), None))


def random_least(case: Planted, seed: int) -> float:
    """Least margin of the same number of points spread evenly at random."""
    points = np.random.default_rng(seed).random((RUNS, case.dimensions))
    return float(case.margins(points).min())


def searched_least(case: Planted, seed: int) -> float:
    """Least margin that the search finds."""
    return float(search(case.margins, case.dimensions, 1, runs=RUNS, seed=seed).least[0])


def main() -> None:
    """Print the table."""
    print(
        f"{RUNS} runs, {len(SEEDS)} seeds, {len(LIFT_SEEDS)} for a lift; found (median of the least margins)"
    )
    print(f"{'planted corner':<44}{'share':>9}{'search':>14}{'random':>14}{'ensemble':>14}{'no timing':>14}")
    for case in planted():
        seeds = SEEDS if case.untimed is None else LIFT_SEEDS
        ways = [[way(case, seed) for seed in seeds] for way in (searched_least, random_least)]
        if case.untimed is not None:
            ways += [[way(case.untimed, seed) for seed in seeds] for way in (random_least, searched_least)]
        told = [f"{sum(v < 0.0 for v in each)}/{len(each)} ({np.median(each):.3f})" for each in ways]
        share = "" if case.share is None else f"{case.share:.1e}"
        print(f"{case.name:<44}{share:>9}" + "".join(f"{each:>14}" for each in told), flush=True)


if __name__ == "__main__":
    main()
