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
#: A zero in motion: the row falls short of the speed before it by this share of its own way.
MOVING_SHARE = 0.3
#: Speeds are compared over this many rows on either side.
ROWS = 3


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
    """

    index: int
    jump: float
    landed: float
    speed: float
    made: bool

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
            one = _set_at(time_s, raw, index, made)
            if abs(one.jump) >= 0.75 * quantum:
                found.append(one)
    return tuple(found)


def _set_at(time_s: Floats, raw: Floats, index: int, made: Flags | None) -> CountSet:
    step = time_s[index] - time_s[index - 1]
    before = _rate(time_s, raw, max(0, index - 1 - ROWS), index - 1)
    after = _rate(time_s, raw, index, min(len(raw) - 1, index + 1))
    # a lift that stood before cannot have jumped; one that moved went on as before until commanded
    speed = before if abs(before) >= abs(after) or before * after > 0 else 0.0
    was_made = made is not None and bool(made[index] or made[index - 1])
    jump = float(raw[index] - raw[index - 1] - speed * step)
    return CountSet(index, jump, float(raw[index]), float(speed), was_made)


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
        at_rest = max(abs(before), abs(after)) <= 1.01 * quantum
        if at_rest and abs(here) >= REST_QUANTA * quantum:
            found.append(index)
        elif made is not None and made[index] and not made[index - 2] and not at_rest:
            # with the first made reading the row before was still driven as before: its speed goes on
            steady, rate = _rate(time_s, raw, max(0, index - 1 - ROWS), index - 1), here / step[index - 1]
            short = abs(steady - rate) * step[index - 1]
            if short > max(MOVING_SHARE * abs(here), REST_QUANTA * quantum) and abs(rate) < abs(steady):
                found.append(index)
    return np.array(found, dtype=np.int64)
