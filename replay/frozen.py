"""Rows in which the count stands still although the lift moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: At least this many equal rows; fewer happen by the rounding of slow counts.
LEAST_ROWS = 3
#: Speed before the freeze must make at least this many quanta a row, or equal rows say nothing.
LEAST_QUANTA = 1.5
#: The count has caught up when it jumps by this share of what the speed before would have made, at least
#: and at most: the lift may have met its stop, or have been driven on faster, in between.
CAUGHT_UP = (0.35, 1.7)
#: The jump is told from ordinary motion when it exceeds the row before the freeze this many times.
JUMP_FACTOR = 2.2


@dataclass(frozen=True, slots=True)
class Frozen:
    """A run of equal counts amid motion.

    ``first`` is the last row with a fresh count, ``last`` the first fresh one after it; ``caught_up``
    tells a count that jumped to where the motion had led from one that went on where it had stopped.
    """

    first: int
    last: int
    caught_up: bool
    missing_mm: float


def frozen_runs(
    time_s: Floats, raw: Floats, command: Floats | None, current: Floats | None, quantum: float
) -> tuple[Frozen, ...]:
    """Find runs of equal counts that begin abruptly at speed and end abruptly.

    Parameters
    ----------
    time_s, raw : (n,) [s], [mm]
        Continuous time and heights as counted.
    command, current : (n,) or None
        Not needed; kept equal over the run they speak for motion, which is weighed elsewhere.
    quantum : float
        Smallest change [mm].
    """
    change = np.diff(raw)
    equal = np.concatenate([[False], change == 0, [False]])
    edges = np.diff(equal.astype(np.int8))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    found = []
    for first, last in zip(begins.tolist(), ends.tolist(), strict=True):
        # rows first..last hold one value; change[first - 1] led into it, change[last] leads out
        run = _frozen(time_s, raw, first, last, quantum)
        if run is not None:
            found.append(run)
    return tuple(found)


def _frozen(time_s: Floats, raw: Floats, first: int, last: int, quantum: float) -> Frozen | None:
    if last - first + 1 < LEAST_ROWS or first < 3 or last + 1 >= len(raw):
        return None
    before = (raw[first] - raw[first - 3]) / max(time_s[first] - time_s[first - 3], 1e-9)
    row_before = raw[first] - raw[first - 1]
    typical_row = (raw[first] - raw[first - 3]) / 3
    steady = row_before * typical_row > 0 and abs(row_before) > 0.5 * abs(typical_row)
    if not steady or abs(typical_row) < LEAST_QUANTA * quantum:
        return None
    jump = raw[last + 1] - raw[last]
    expected = before * (time_s[last + 1] - time_s[first])
    share = jump / expected if expected else 0.0
    if CAUGHT_UP[0] <= share <= CAUGHT_UP[1] and abs(jump) > JUMP_FACTOR * abs(typical_row):
        return Frozen(first, last + 1, True, float(jump))
    after = (raw[min(last + 3, len(raw) - 1)] - raw[last]) / max(
        time_s[min(last + 3, len(raw) - 1)] - time_s[last], 1e-9
    )
    # stopping that abruptly and starting at the same speed again is not what a lift does
    if after * before > 0 and abs(after) > 0.5 * abs(before) and abs(typical_row) > 3 * quantum:
        return Frozen(first, last + 1, False, float(expected))
    return None
