"""The motion in a log as one continuous track: time that never stops, heights without resets.

The count is followed through everything that only the counter did: zeros, resets and jumps are taken out
of the height and listed as `CountSet`; rows in which the count stood frozen while the lift moved are
bridged and listed as `Frozen`. The log itself stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.countsets import CountSet, count_sets
from replay.frozen import Frozen, frozen_runs
from replay.heights import bridged_over, continuous, resolved, speeds, unrolled
from replay.log import Log
from replay.timing import periods
from replay.units import Role

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Where no scale is known the range of the counts stands for this many mm: the travel of a small lift.
WORKING_RANGE_MM = 400.0
#: Standstill is under this speed [mm/s], as defined for the simulation; more where a count is coarse.
STILL_MM_S = 2.0
#: A count that toggles at rest makes this many quanta per window at most.
STILL_QUANTA = 1.5


#: Share of the fast rows whose command must be plain before signs are compared; own choice, well above the
#: few rows in which a lift turns while its command dies down.
FEWEST_SIGNS = 0.1


@dataclass(frozen=True, eq=False)
class Track:
    """Continuous motion of one log.

    Parameters
    ----------
    log : Log
    scale : float
        mm for one count; a working scale where ``scaled`` is False.
    time_s, step_s : (n,) [s]
        Time that always goes on (clock jumps taken as one period), and the step before each row.
    height : (n,) [mm]
        Height of the spool, growing outwards, without resets.
    rate, speed : (n,) [mm/s]
        From the row before, and smoothed.
    made : (n,) bool or None
        Readings; unreadable cells repeat the one before.
    command, current, battery : (n,) or None
        Command over its own largest size, current [A], battery [V]; gaps repeat the value before.
    sets, frozen : tuples
        What the counter did by itself.
    period_s, still : float
        Median loop period [s]; speed under which it stands [mm/s].
    turned : bool
        True when counts grow inwards, so that the height is the count with its sign turned.
    """

    log: Log
    scale: float
    scaled: bool
    time_s: Floats
    step_s: Floats
    height: Floats
    rate: Floats
    speed: Floats
    made: Flags | None
    command: Floats | None
    current: Floats | None
    battery: Floats | None
    sets: tuple[CountSet, ...]
    frozen: tuple[Frozen, ...]
    period_s: float
    still: float
    quantum: float
    turned: bool

    def __len__(self) -> int:
        return len(self.time_s)

    def rows(self, first: int, last: int) -> tuple[int, int]:
        """Data rows of the file for two indices."""
        end = len(self) - 1
        return int(self.log.row[max(0, min(first, end))]), int(self.log.row[max(0, min(last, end))])

    def span(self, first: int, last: int) -> slice:
        """Indices from ``first`` to ``last`` inclusive, kept inside the log."""
        return slice(max(0, first), max(0, min(last, len(self) - 1)) + 1)

    def after(self, index: int, time_s: float) -> int:
        """Last index that lies within ``time_s`` after ``index`` (before it if negative)."""
        at = int(np.searchsorted(self.time_s, self.time_s[index] + time_s, side="right")) - 1
        return max(0, min(at, len(self) - 1))


def track_of(log: Log) -> Track:
    """Follow the motion through one log."""
    period_s = periods(log).median_s
    time_s = continuous(log, period_s)
    scale, made, command = working_scale(log), _made(log), _normalised(log)
    counted = _followed(log, time_s, scale, made)
    turned = _turned(time_s, counted.height, made, command)
    height = -counted.height if turned else counted.height
    rate, speed, window = speeds(time_s, height, period_s)
    return Track(
        log=log,
        scale=scale,
        scaled=log.mm_per_count is not None,
        time_s=time_s,
        step_s=np.diff(time_s, prepend=time_s[0]),
        height=height,
        rate=rate,
        speed=speed,
        made=made,
        command=command,
        current=_column(log, Role.CURRENT),
        battery=_column(log, Role.BATTERY),
        sets=tuple(each.turned() for each in counted.sets) if turned else counted.sets,
        frozen=counted.frozen,
        period_s=period_s,
        still=max(STILL_MM_S, STILL_QUANTA * counted.quantum / window),
        quantum=counted.quantum,
        turned=turned,
    )


@dataclass(frozen=True, eq=False)
class _Counted:
    """The count followed through what only the counter did; heights in its own sense [mm]."""

    height: Floats
    quantum: float
    sets: tuple[CountSet, ...]
    frozen: tuple[Frozen, ...]


def _followed(log: Log, time_s: Floats, scale: float, made: Flags | None) -> _Counted:
    """Follow the count through freezes, zeros and resets."""
    raw = filled(log.counts) * scale
    quantum = resolved(raw, scale)
    frozen = frozen_runs(time_s, raw, made, quantum)
    bridged = bridged_over(time_s, raw, frozen)
    sets = count_sets(time_s, bridged, log.breaks, frozen, quantum, made)
    return _Counted(unrolled(bridged, sets), quantum, sets, frozen)


def working_scale(log: Log) -> float:
    """mm for one count; where none is known, what makes the range of the counts `WORKING_RANGE_MM`."""
    if log.mm_per_count is not None:
        return log.mm_per_count
    counts = filled(log.counts)
    return WORKING_RANGE_MM / max(float(np.max(counts) - np.min(counts)), 1.0)


def filled(values: Floats) -> Floats:
    """Values with unreadable ones on the line between their neighbours; all zero if none is readable."""
    good = np.flatnonzero(np.isfinite(values))
    if len(good) == 0:
        return np.zeros(len(values))
    if len(good) == len(values):
        return values
    return np.interp(np.arange(len(values)), good, values[good])


def held(values: Floats) -> Floats:
    """Values with unreadable ones repeating the one before (the first readable one at the start)."""
    good = np.isfinite(values)
    if not good.any():
        return np.zeros(len(values))
    last: NDArray[np.int64] = np.maximum.accumulate(np.where(good, np.arange(len(values)), -1))
    last[last < 0] = int(np.flatnonzero(good)[0])
    kept: Floats = values[last]
    return kept


def _column(log: Log, role: Role) -> Floats | None:
    return held(log[role]) if role in log else None


def _made(log: Log) -> Flags | None:
    return held(log[Role.SENSOR]) > 0.5 if Role.SENSOR in log else None


def _normalised(log: Log) -> Floats | None:
    if Role.COMMAND not in log:
        return None
    command = held(log[Role.COMMAND])
    size = float(np.max(np.abs(command)))
    return command / size if size > 0 else None


def _turned(time_s: Floats, height: Floats, made: Flags | None, command: Floats | None) -> bool:
    """Whether counts grow inwards: command and count disagree, and the sensor is made on the way up."""
    if made is None or command is None:
        return False
    rate = np.zeros(len(height))
    rate[1:] = np.diff(height) / np.maximum(np.diff(time_s), 1e-9)
    if sign_agreement(rate, command) >= 0:
        return False
    onset = np.flatnonzero(made[1:] & ~made[:-1]) + 1
    moving = height[np.minimum(onset + 1, len(height) - 1)] - height[np.maximum(onset - 2, 0)]
    return float(np.sum(moving)) > 0


def sign_agreement(speed: Floats, command: Floats) -> float:
    """Mean agreement (-1 to 1) of the signs of motion and command, over rows where both are plain.

    Commands that only hold the weight are small; what counts are those above a quarter. While a command
    dies down the lift may already turn: some rows of a fast motion say nothing, only a good part of it does.
    """
    fast = np.abs(speed) > 0.3 * max(float(np.percentile(np.abs(speed), 98)), 1e-9)
    plain = fast & (np.abs(command) > 0.25)
    if plain.sum() < FEWEST_SIGNS * fast.sum():
        return 0.0
    return float(np.mean(np.sign(speed[plain]) * np.sign(command[plain]))) if plain.any() else 0.0
