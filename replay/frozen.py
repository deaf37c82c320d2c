"""Rows in which the count stands still although the lift moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.int64]

#: At least this many equal rows; fewer happen by the rounding of slow counts.
LEAST_ROWS = 3
#: The motion before must make at least this many quanta in the time of the freeze.
LEAST_QUANTA = 4.0
#: and must have made this many in the time looked at, or it was a count toggling at rest.
MOVED_QUANTA = 2.9
#: The motion before is taken over this long [s], and over three rows at least; the freeze is abrupt when the
#: later half of it was not slower than this share of the whole.
BEFORE_S, ABRUPT = 0.08, 0.6
#: The count has caught up when it jumps by this share of what the speed before would have made, at least
#: and at most: the lift may have met its stop, or have been driven on faster, in between.
CAUGHT_UP = (0.35, 1.7)
#: The jump is told from ordinary motion when it exceeds an ordinary row this many times.
JUMP_FACTOR = 2.2
#: A count that goes on where it stopped resumes at this share of the speed before, at least.
RESUMED = 0.5
#: Times are told apart from here on [s]; below it is rounding of the stamps.
SHORTEST_S = 1e-9


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


def frozen_runs(time_s: Floats, raw: Floats, made: Flags | None, quantum: float) -> tuple[Frozen, ...]:
    """Find runs of equal counts that begin abruptly at speed and end abruptly.

    Parameters
    ----------
    time_s, raw : (n,) [s], [mm]
        Continuous time and heights as counted.
    made : (n,) bool or None
        Readings: a count that lands on 0 while made was zeroed and has not caught up.
    quantum : float
        Smallest change [mm].
    """
    change = np.diff(raw)
    equal = np.concatenate([[False], change == 0, [False]])
    edges = np.diff(equal.astype(np.int8))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    # rows begin..end hold one value; change[begin - 1] led into it, change[end] leads out
    long = (ends - begins + 1 >= LEAST_ROWS) & (begins >= LEAST_ROWS) & (ends + 1 < len(raw))
    begins, ends = begins[long], ends[long]
    quick = _was_quick(time_s, raw, begins, ends, quantum)
    found = []
    for first, last in zip(begins[quick].tolist(), ends[quick].tolist(), strict=True):
        if made is not None and made[first] and raw[last + 1] == 0:
            continue
        run = _frozen(time_s, raw, first, last, quantum)
        if run is not None:
            found.append(run)
    return tuple(found)


def _was_quick(time_s: Floats, raw: Floats, first: Rows, last: Rows, quantum: float) -> Flags:
    """Which runs (k,) stand amid a motion quick enough to be missed; nearly all are the lift at rest."""
    since = np.maximum(np.minimum(first - LEAST_ROWS, np.searchsorted(time_s, time_s[first] - BEFORE_S)), 0)
    moved = np.abs(raw[first] - raw[since])
    rate = moved / np.maximum(time_s[first] - time_s[since], SHORTEST_S)
    expected = rate * (time_s[last + 1] - time_s[first])
    return np.asarray((expected >= LEAST_QUANTA * quantum) & (moved >= MOVED_QUANTA * quantum))


def _frozen(time_s: Floats, raw: Floats, first: int, last: int, quantum: float) -> Frozen | None:
    since = max(min(first - LEAST_ROWS, int(np.searchsorted(time_s, time_s[first] - BEFORE_S))), 0)
    before = _rate(time_s, raw, since, first)
    expected = before * (time_s[last + 1] - time_s[first])
    late_half = _rate(time_s, raw, (since + first) // 2, first)
    if late_half * before <= 0 or abs(late_half) < ABRUPT * abs(before):
        return None
    jump = float(raw[last + 1] - raw[last])
    row = abs(before) * (time_s[first] - time_s[since]) / (first - since)
    if CAUGHT_UP[0] <= jump / expected <= CAUGHT_UP[1] and abs(jump) > JUMP_FACTOR * max(row, quantum):
        return Frozen(first, last + 1, True, jump)
    after = _rate(time_s, raw, last + 1, min(last + 1 + LEAST_ROWS, len(raw) - 1))
    # stopping that abruptly and starting at the same speed again is not what a lift does
    resumed = after * before > 0 and abs(after) > RESUMED * abs(before)
    if resumed and jump / before > 0 and abs(jump) <= 2 * max(row, quantum) and row > 2 * quantum:
        return Frozen(first, last + 1, False, float(expected))
    return None


def _rate(time_s: Floats, raw: Floats, first: int, last: int) -> float:
    return float((raw[last] - raw[first]) / max(time_s[last] - time_s[first], SHORTEST_S))
