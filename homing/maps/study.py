"""Maps: how much margin the worst requirement keeps over two things that a builder can choose.

The margin of a requirement is 1 - value / limit, so that millimetres, seconds and amperes compare:
0.3 means that three tenths of the limit are left, 0 is the limit, below 0 it is missed. A cell shows the
worst requirement in the second worst of 299 runs, so that the line at 0 is where ``verify`` would cease to
hold the requirements. Only runs that are hard somewhere on the map are simulated in each cell, with the same
random numbers in all of them (see ``homing.maps.cells``).

A map finds what tolerances do. What comes by chance, in fewer than one of its few runs (a late loop just at
the trip, a flipped reading), it sees in some cells and misses in others: against all 299 runs it never showed
too little margin, and in one cell of ten it called held what chance had failed. ``verify`` decides.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.compare.candidates import moved
from homing.maps.axes import SPEED_KEY, Axis, Marks, axes_of
from homing.maps.cells import WHOLE_RUNS, Strip, counted_worst, hard_runs, hardest_first, merged, strip_of
from homing.requirements import requirements_for

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]
Worst = NDArray[np.int8]
Indices = NDArray[np.int64]
#: Told what is being done, how much of it is done, how much there is.
Progress = Callable[[str, int, int], None]

#: Cells along each side.
CELLS = 40
#: Most runs in a cell.
MOST_RUNS = 16
#: Cells along each side in which hard runs are looked for.
SEARCHED = 4


@dataclass(frozen=True)
class MarginMap:
    """Margin of the worst requirement over two axes.

    ``margin`` is (rows of y, columns of x), NaN where the sensor is never made; ``worst`` is the place in
    ``requirements`` of the one that has it, -1 where there is none. ``runs`` are simulated in each cell.
    """

    x: Axis
    y: Axis
    margin: Floats
    worst: Worst
    requirements: tuple[str, ...]
    runs: int

    @property
    def name(self) -> str:
        """Name for files: what is on the two axes."""
        return f"map_{self.x.short}_{self.y.short}"


@dataclass(frozen=True)
class _Task:
    """What all strips of one map share; a strip is one value of ``across`` with all of ``along``."""

    lift: Lift
    seed: int
    periods_s: Floats | None
    across: tuple[Lift, ...]
    along: tuple[Lift, ...]

    def strip(self, number: int, runs: Indices) -> Strip | None:
        """Runs of a strip, at its last lift: a sensor not made at the highest mounting is made at none."""
        lift = merged(self.lift, self.across[number], self.along[-1])
        periods_s = self.periods_s
        if periods_s is not None:
            periods_s = periods_s * (lift.controller.period_ms / self.lift.controller.period_ms)
        return strip_of(lift, self.seed, periods_s, runs)

    def margins(self, number: int, places: list[int], runs: Indices) -> Iterator[tuple[int, Floats]]:
        """Margins of the runs in the cells of a strip at these places along it, where there are any."""
        strip = self.strip(number, runs)
        for place in places if strip is not None else ():
            assert strip is not None
            cell = strip.cell(merged(self.lift, self.across[number], self.along[place]))
            if cell is not None:
                yield place, strip.margins(cell)


def margin_map(
    lift: Lift,
    x: Axis,
    y: Axis,
    seed: int = 0,
    periods_s: Floats | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> MarginMap:
    """Work out the margin in every cell of a map.

    Parameters
    ----------
    lift : Lift
    x, y : Axis
        What is varied: the approach speed on ``x``, or else the mounting height on ``y``.
    seed : int
    periods_s : ndarray, shape (k,), optional
        Measured loop periods [s]; along an axis of periods they are stretched alike.
    workers : int, optional
        Threads; as many as cores by default. The result does not depend on it.
    progress : callable, optional
        Called with what is done, strips done and strips in all.

    Returns
    -------
    MarginMap
    """
    # along a strip only what Strip.cell can change may vary
    along, across = (x, y) if x.key == SPEED_KEY else (y, x)
    task = _Task(lift, seed, periods_s, _lifts(lift, across), _lifts(lift, along))
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        runs = _hard_runs(pool, task)
        margin, worst = _all_strips(pool, task, runs, f"map of {x.title} and {y.title}", progress)
    names = tuple(each.name for each in requirements_for(lift))
    if along is y:
        margin, worst = margin.T, worst.T
    return MarginMap(x, y, margin, worst, names, len(runs))


def margin_maps(
    lift: Lift,
    marks: Marks | None = None,
    cells: int = CELLS,
    seed: int = 0,
    periods_s: Floats | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> tuple[MarginMap, ...]:
    """Every map that this lift's sensor and routine have: of gap, approach speed, loop period and height.

    Parameters
    ----------
    lift : Lift
    marks : mapping, optional
        Key of the lift file to values that the axis should reach, such as an advised mounting height.
    cells : int
        Cells along each side.
    seed, periods_s, workers, progress
        As in ``margin_map``.
    """
    pairs = axes_of(lift, cells, marks or {})
    return tuple(margin_map(lift, x, y, seed, periods_s, workers, progress) for x, y in pairs)


def _lifts(lift: Lift, axis: Axis) -> tuple[Lift, ...]:
    return tuple(moved(lift, {axis.key: value}) for value in axis.values.tolist())


def _hard_runs(pool: ThreadPoolExecutor, task: _Task) -> Indices:
    """Runs that are hard in a few cells spread over the map."""
    everyone = np.arange(WHOLE_RUNS, dtype=np.int64)
    places = _spread(len(task.along))

    def orders(number: int) -> list[Indices]:
        return [hardest_first(margins, MOST_RUNS) for _, margins in task.margins(number, places, everyone)]

    found = [order for part in pool.map(orders, _spread(len(task.across))) for order in part]
    return hard_runs(found, MOST_RUNS) if found else everyone[:0]


def _spread(count: int) -> list[int]:
    """Places of a few cells in a row, in the middle of equal parts."""
    return sorted({int((i + 0.5) * count / SEARCHED) for i in range(SEARCHED)})


def _all_strips(
    pool: ThreadPoolExecutor, task: _Task, runs: Indices, what: str, progress: Progress | None
) -> tuple[Floats, Worst]:
    """Margin and worst requirement of every cell, (across, along)."""
    margin = np.full((len(task.across), len(task.along)), np.nan)
    worst = np.full(margin.shape, -1, dtype=np.int8)

    def fill(number: int) -> None:
        for place, margins in task.margins(number, list(range(len(task.along))), runs):
            margin[number, place], worst[number, place] = counted_worst(margins)

    waiting = [pool.submit(fill, number) for number in range(len(task.across) if len(runs) else 0)]
    try:
        for done, future in enumerate(as_completed(waiting), start=1):
            future.result()
            if progress is not None:
                progress(what, done, len(waiting))
    finally:
        for future in waiting:
            future.cancel()
    return margin, worst
