"""Loop periods: what the stamps say about how regularly the controller ran."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from replay.clock import LONGEST_STEP_S
from replay.defects import DefectKind
from replay.log import Log
from replay.reading import Columns, read_clock_of

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Periods:
    """Statistics of the steps between stamps [s]."""

    steps: int
    shortest_s: float
    median_s: float
    mean_s: float
    p99_s: float
    longest_s: float


def steps_of(time_s: Floats, starts: NDArray[np.int64]) -> Floats:
    """Steps between stamps (n,) [s]; repeated stamps and steps back into a new stretch are no steps."""
    step = np.diff(time_s)
    step[starts[starts > 0] - 1] = 0.0
    return step[step > 0]


def periods(log: Log) -> Periods:
    """Loop-period statistics of a log; jumps of the clock do not count, gaps do."""
    time_s = log.time_s
    leapt = {row for each in log.defects if each.kind is DefectKind.CLOCK_JUMP for row in each.rows}
    starts = np.union1d(log.starts, np.flatnonzero(np.isin(log.row, sorted(leapt))))
    step = steps_of(time_s, starts)
    return Periods(
        steps=len(step),
        shortest_s=float(step.min()),
        median_s=float(np.median(step)),
        mean_s=float(step.mean()),
        p99_s=float(np.percentile(step, 99)),
        longest_s=float(step.max()),
    )


def measured_periods(path: str | Path, columns: Columns = None) -> Floats:
    """Loop periods of a log as measured, to draw the controller's periods from.

    Late loops are in it. Steps longer than 2 s, at which no control loop runs, are pauses of the logger
    or jumps of the clock and are not; nor are repeated stamps. Only the time column is needed.

    Parameters
    ----------
    path : str or Path
        A log; one row a loop is assumed.
    columns : optional
        As `replay.read_log`.

    Returns
    -------
    (n,) array [s]
        Periods in the order of the log.

    Raises
    ------
    InputError
        When the log or its time column cannot be read.
    """
    clock = read_clock_of(path, columns)
    step = steps_of(clock.time_s, clock.starts)
    return step[step <= LONGEST_STEP_S]
