"""What is wrong with a log: kinds, and how the ones in stamps and counts are found.

Only wraps are taken out (adding a whole number of wraps is exact), and the defect says so. Everything
else is named with its rows and left as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


class DefectKind(Enum):
    """Kinds of defect, in the order in which they are listed; the values are the words in JSON."""

    TORN_LAST_LINE = "torn_last_line"
    BROKEN_LINE = "broken_line"
    REPEATED_HEADER = "repeated_header"
    UNREADABLE_CELL = "unreadable_cell"
    EMPTY_CELL = "empty_cell"
    STALE_CELL = "stale_cell"
    DUPLICATE_STAMP = "duplicate_stamp"
    BACKWARD_STAMP = "backward_stamp"
    WRAPPED_STAMP = "wrapped_stamp"
    CLOCK_JUMP = "clock_jump"
    GAP = "gap"
    COUNTER_WRAP = "counter_wrap"
    COUNTER_RESET = "counter_reset"
    COUNTER_JUMP = "counter_jump"


@dataclass(frozen=True, slots=True)
class Defect:
    """One kind of defect in one column.

    ``rows`` are data rows of the file counted from 0; ``note`` says what it means here and what was done.
    """

    kind: DefectKind
    rows: tuple[int, ...]
    column: str | None = None
    note: str = ""

    @property
    def count(self) -> int:
        return len(self.rows)


#: A step longer than this many median steps is a gap: at least two rows are missing, or loops ran late.
GAP_STEPS = 3.0
#: After adding a wrap, a stamp may come this many median steps after the one before.
WRAP_STEPS = 20.0
#: A change of count is told from a jump when it differs by this many counts (or mm) from its neighbours.
JUMP_COUNTS = 8.0
#: A jump exceeds the usual change from row to row this many times.
JUMP_FACTOR = 3.0
#: Rows of which changes are taken at a time; three such arrays stay in a processor's cache.
BLOCK_ROWS = 1 << 14
#: To tell a clock that jumped from rows that are missing, the two must differ by this many counts (or mm).
CLOCK_COUNTS = 4.0


def defect(
    kind: DefectKind, rows: Ints | Sequence[int], column: str | None = None, note: str = ""
) -> list[Defect]:
    """The defect as a list of one, or of none when there are no rows."""
    found = tuple(rows.tolist() if isinstance(rows, np.ndarray) else rows)
    return [Defect(kind, found, column, note)] if found else []


def stamp_wraps(raw: Ints) -> tuple[Ints, Ints, int]:
    """Take wraps of a 16- or 32-bit stamp out.

    Parameters
    ----------
    raw : (n,) int64
        Stamps as written.

    Returns
    -------
    (n,) int64
        Stamps without wraps.
    (k,) int64
        Index of the first stamp after each wrap.
    int
        Bits of the wrap, 0 if there was none.

    Notes
    -----
    A step back is a wrap when all stamps fit the word length and adding one whole wrap leaves a step
    forward that is no longer than ``WRAP_STEPS`` median steps. A reboot fails the second condition.
    """
    steps = np.diff(raw)
    forward = steps[steps > 0]
    if len(forward) == 0:
        return raw, np.empty(0, np.int64), 0
    longest = WRAP_STEPS * float(np.median(forward))
    for bits in (16, 32):
        span = 1 << bits
        if not _fits(raw, bits):
            continue
        wrapped = (steps < 0) & (steps + span <= longest)
        if wrapped.any():
            at = np.flatnonzero(wrapped) + 1
            turns = np.zeros(len(raw), dtype=np.int64)
            turns[at] = 1
            return raw + span * np.cumsum(turns), at, bits
    return raw, np.empty(0, np.int64), 0


def counter_wraps(raw: Floats) -> tuple[Floats, Ints, int]:
    """Take wraps of a 16- or 32-bit counter out; as `stamp_wraps`, but either way round.

    A change of more than half the span is a wrap when what remains after adding the span is no larger
    than four times the usual change (its 99.5th percentile) or 16 counts.
    """
    finite = np.isfinite(raw)
    values = raw if finite.all() else raw[finite]
    # most counters never come near their end
    if _largest_change(values) <= 1 << 15 or np.any(values != np.round(values)):
        return raw, np.empty(0, np.int64), 0
    good, change = np.flatnonzero(finite), np.diff(values)
    for bits in (16, 32):
        span = float(1 << bits)
        large = np.abs(change) > span / 2
        if not large.any() or not _fits(values, bits):
            continue
        usual = np.abs(change[~large])
        limit = max(16.0, 4 * float(np.percentile(usual, 99.5))) if len(usual) else 16.0
        wrapped = large & (np.abs(change - np.sign(change) * span) <= limit)
        if wrapped.any():
            turns = np.zeros(len(values))
            turns[1:][wrapped] = -np.sign(change[wrapped])
            out = raw.copy()
            out[good] = values + span * np.cumsum(turns)
            return out, good[1:][wrapped], bits
    return raw, np.empty(0, np.int64), 0


def _fits(values: Floats | Ints, bits: int) -> bool:
    low, high = float(values.min()), float(values.max())
    half = 2.0 ** (bits - 1)
    return (low >= 0 and high < 2 * half) or (low >= -half and high < half)


def counter_breaks(counts: Floats, time_s: Floats, starts: Ints) -> tuple[Ints, Ints]:
    """Rows at which the count was set or jumped.

    Parameters
    ----------
    counts : (n,)
        Counts without wraps; NaN where unreadable.
    time_s : (n,) [s]
        Stamps.
    starts : (k,)
        First row of each stretch of rising time, and rows at which the clock jumped.

    Returns
    -------
    resets, jumps : (m,) int64
        Rows whose count does not follow from the row before, landing on zero or elsewhere.

    Notes
    -----
    A lift cannot change its speed for one row only. With r the change of count per median step, row i is
    a break when r[i] differs from both its neighbours by more than ``JUMP_COUNTS`` plus ``JUMP_FACTOR``
    times the usual change of r (99th percentile); or, for a count set to zero at standstill, when it
    lands on exactly 0 and r[i] exceeds ``JUMP_COUNTS`` and four times its neighbours. A small reset while
    moving fast hides in the motion and is not found.
    """
    finite = np.isfinite(counts)
    value = counts if finite.all() else counts[finite]
    if len(value) < 4 or _largest_change(value) <= JUMP_COUNTS / 2:
        # two such changes differ by less than a jump
        return np.empty(0, np.int64), np.empty(0, np.int64)
    good, rate = np.flatnonzero(finite), np.diff(value)
    rate *= _per_step(time_s if len(good) == len(time_s) else time_s[good], np.searchsorted(good, starts))
    turn = np.abs(np.diff(rate, prepend=0.0, append=0.0))
    usual = float(np.percentile(turn[:-1], 99))
    to_zero = value[1:] == 0
    # few rows come into question at all, so that the rest is looked at for these alone
    at = np.flatnonzero(
        ((turn[:-1] > JUMP_COUNTS) & (turn[1:] > JUMP_COUNTS)) | (to_zero & (np.abs(rate) > JUMP_COUNTS))
    )
    padded = np.concatenate([[0.0], rate, [0.0]])
    before, here, after, to_zero = padded[at], padded[at + 1], padded[at + 2], to_zero[at]
    size, beside = np.abs(here), np.maximum(np.abs(before), np.abs(after))
    # a row that moved less than its neighbours has waited; only one that moved more, or back, is a break
    beyond = (size > beside) | ((here * before < 0) & (here * after < 0))
    jumped = beyond & (np.minimum(turn[at], turn[at + 1]) > JUMP_COUNTS + JUMP_FACTOR * usual)
    set_at_rest = to_zero & (size > JUMP_COUNTS) & (size > 4 * beside)
    row = good[at + 1]
    return row[(jumped & to_zero) | set_at_rest], row[jumped & ~to_zero & ~set_at_rest]


def _largest_change(values: Floats) -> float:
    """Size of the largest change from one value to the next; 0 where there is none."""
    low, high = _changes_between(values)
    return max(-low, high)


def _changes_between(values: Floats) -> tuple[float, float]:
    """Least and largest change from one value to the next; zeros where there is none.

    Taken in blocks that stay in the processor's cache: fresh memory for all changes of a long log costs
    far more than to compute them.
    """
    low, high = np.inf, -np.inf
    for start in range(0, len(values) - 1, BLOCK_ROWS):
        change = np.diff(values[start : start + BLOCK_ROWS + 1])
        low, high = min(low, float(change.min())), max(high, float(change.max()))
    return (low, high) if low <= high else (0.0, 0.0)


def _per_step(time_s: Floats, starts: Ints) -> Floats:
    """Median step over each row's own step; 1 where the stamp did not advance or time was set back."""
    step = np.diff(time_s)
    step[starts[(starts > 0) & (starts < len(time_s))] - 1] = 0.0
    usable = step > 0
    if not usable.any():
        return np.ones(len(step))
    median = float(np.median(step[usable]))
    step[~usable] = median
    return np.minimum(1.0, median / step)


def gaps_and_clock_jumps(time_s: Floats, counts: Floats | None, starts: Ints) -> tuple[Ints, Ints]:
    """Rows after a long step: rows are missing or a loop ran late (gap), or the clock itself jumped.

    Notes
    -----
    If the lift moved on by one ordinary row while the stamp moved by many, the clock jumped. This can be
    told only while the lift moves; a long step at standstill is called a gap.
    """
    shortest, longest = _changes_between(time_s)
    if shortest > 0 and longest <= GAP_STEPS * shortest:
        # no step is that many times the median, which is at least the shortest
        return np.empty(0, np.int64), np.empty(0, np.int64)
    step = np.diff(time_s)
    step[starts[starts > 0] - 1] = 0.0
    forward = step[step > 0] if step.min() <= 0 else step
    if len(forward) == 0:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    median = float(np.median(forward))
    long = np.flatnonzero(step > GAP_STEPS * median)
    if counts is None:
        return long + 1, np.empty(0, np.int64)
    jumped = _clock_jumped(counts, long, step[long] / median)
    return long[~jumped] + 1, long[jumped] + 1


def _clock_jumped(counts: Floats, at: Ints, steps: Floats) -> Flags:
    inside = (at >= 1) & (at + 2 < len(counts))
    jumped = np.zeros(len(at), dtype=np.bool_)
    i, steps = at[inside], steps[inside]
    before, across, after = (counts[i + k] - counts[i + k - 1] for k in (0, 1, 2))
    ordinary = (before + after) / 2
    steady = np.abs(before - after) <= np.maximum(np.abs(ordinary), 1.0) / 2
    expected = ordinary * steps
    jumped[inside] = (
        steady
        & (np.abs(expected - ordinary) >= CLOCK_COUNTS)
        & (np.abs(across - ordinary) < np.abs(expected - across) / 4)
    )
    return jumped
