"""Rows in which the count was set: zeros at the sensor, resets, jumps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from replay.frozen import Frozen

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

#: A zero at rest must move the count by this many quanta, since a shaft at rest toggles by one.
REST_QUANTA = 2.0
#: A shaft at rest toggles by so many quanta from row to row at most.
REST_ROW_QUANTA = 1.01
#: A zero in motion: the row falls short of the speed before it by this share of its own way at least, and by
#: this many times what the rows before varied among themselves: stamps jitter by a tenth.
MOVING_SHARE, UNSTEADY_TIMES = 0.15, 2.5
#: Speeds are compared over this many rows on either side, but over no longer than this [s], in which a lift
#: stops: what it did before says nothing then.
ROWS, ROWS_S = 3, 0.05


@dataclass(frozen=True, slots=True)
class CountSet:
    """The count was changed by something other than motion.

    Parameters
    ----------
    index : int
        First row with the new count.
    jump : float
        What was added to the height [mm].
    landed : float
        Height as counted after it [mm].
    speed : float
        Speed of the lift at that time [mm/s].
    made : bool
        The sensor read made in this row or the one before.
    doubt : float
        Standard deviation of the jump [mm]: the lift went on in that row at a speed between that of the rows
        before and that of the rows after.
    """

    index: int
    jump: float
    landed: float
    speed: float
    made: bool
    doubt: float = 0.0

    def turned(self) -> CountSet:
        """The same with the sense of the height turned."""
        return replace(self, jump=-self.jump, landed=-self.landed, speed=-self.speed)


def count_sets(
    time_s: Floats, raw: Floats, breaks: Ints, frozen: tuple[Frozen, ...], quantum: float, made: Flags | None
) -> tuple[CountSet, ...]:
    """All rows in which the count was set.

    ``breaks`` are those that the reader found; added are small ones: the count lands on exactly 0 at rest,
    or lands on exactly 0 while made and moving, in a row that falls short of the speed before it.
    """
    bridged = {run.last for run in frozen if run.caught_up}
    candidates = set(breaks.tolist()) | set(_small(time_s, raw, quantum, made).tolist())
    found = []
    for index in sorted(candidates - bridged):
        if 0 < index < len(raw):
            one = _set_at(time_s, raw, index, made, quantum)
            if abs(one.jump) >= 0.75 * quantum:
                found.append(one)
    return tuple(found)


def _set_at(time_s: Floats, raw: Floats, index: int, made: Flags | None, quantum: float) -> CountSet:
    step = time_s[index] - time_s[index - 1]
    before = _rate(time_s, raw, _since(time_s, index - 1), index - 1)
    after = _rate(time_s, raw, index, min(len(raw) - 1, index + 1))
    # a lift that stood before cannot have jumped; one that moved went on as before until commanded
    speed = before if abs(before) >= abs(after) or before * after > 0 else 0.0
    if max(abs(before), abs(after)) * step <= REST_ROW_QUANTA * quantum:
        speed = (before + after) / 2
    was_made = made is not None and bool(made[index] or made[index - 1])
    jump = float(raw[index] - raw[index - 1] - speed * step)
    doubt = max(quantum, abs(before - after) * step) / 2
    return CountSet(index, jump, float(raw[index]), float(speed), was_made, float(doubt))


def _since(time_s: Floats, index: int) -> int:
    """Row from which on the speed before row ``index`` is taken."""
    recent = int(np.searchsorted(time_s, time_s[index] - ROWS_S))
    return max(0, index - ROWS, min(recent, index - 1))


def _unsteady(rates: Floats, index: int) -> float:
    """By which share the speeds of the rows before row ``index`` vary."""
    before = rates[max(0, index - ROWS) : index]
    middle = abs(float(np.mean(before)))
    return float(np.ptp(before)) / (2 * middle) if len(before) > 1 and middle > 0 else 0.0


def _rate(time_s: Floats, raw: Floats, first: int, last: int) -> float:
    if last <= first:
        return 0.0
    return float((raw[last] - raw[first]) / max(time_s[last] - time_s[first], 1e-9))


def _small(time_s: Floats, raw: Floats, quantum: float, made: Flags | None) -> Ints:
    change = np.diff(raw)
    step = np.maximum(np.diff(time_s), 1e-9)
    to_zero = np.concatenate([[False], (raw[1:] == 0) & (change != 0)])
    found = []
    for index in np.flatnonzero(to_zero).tolist():
        if index < 2 or index + 1 >= len(raw):
            continue
        here, before, after = change[index - 1], change[index - 2], change[index]
        at_rest = max(abs(before), abs(after)) <= REST_ROW_QUANTA * quantum
        if at_rest and abs(here) >= REST_QUANTA * quantum:
            found.append(index)
        elif made is not None and made[index] and not made[index - 1] and not at_rest:
            # with the first made reading the row before was still driven as before: its speed goes on
            steady, rate = _rate(time_s, raw, _since(time_s, index - 1), index - 1), here / step[index - 1]
            least = max(MOVING_SHARE, UNSTEADY_TIMES * _unsteady(change / step, index - 1)) * abs(here)
            short = abs(steady - rate) * step[index - 1]
            if short > max(least, REST_QUANTA * quantum) and abs(rate) < abs(steady):
                found.append(index)
    return np.array(found, dtype=np.int64)
