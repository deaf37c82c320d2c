"""From raw counts to heights and speeds that go on through everything the counter did by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from replay.countsets import CountSet
from replay.defects import DefectKind
from replay.frozen import Frozen
from replay.log import Log

Floats = NDArray[np.float64]

#: Speeds are taken over about this time [s]: longer than stamp jitter, shorter than a braking ramp.
SPEED_WINDOW_S = 0.04


def continuous(log: Log, period_s: float) -> Floats:
    """Time (n,) [s] in which clock jumps and steps back count as one period."""
    step = np.diff(log.time_s)
    step[log.starts[1:] - 1] = period_s
    leapt = {row for each in log.defects if each.kind is DefectKind.CLOCK_JUMP for row in each.rows}
    step[np.isin(log.row[1:], sorted(leapt))] = period_s
    return np.concatenate([[0.0], np.cumsum(step)])


def resolved(raw: Floats, scale: float) -> float:
    """Smallest change between rows [mm]: the count itself, or what a scaled column resolves."""
    change = np.abs(np.diff(raw))
    change = np.sort(change[change > 1e-6 * scale])
    # the fifth smallest, so that a few cells between two counts do not make it
    return float(change[min(4, len(change) - 1)]) if len(change) else scale


def bridged_over(time_s: Floats, raw: Floats, frozen: tuple[Frozen, ...]) -> Floats:
    height = raw.copy()
    for run in frozen:
        if run.caught_up:
            inside = slice(run.first, run.last + 1)
            ends = [run.first, run.last]
            height[inside] = np.interp(time_s[inside], time_s[ends], raw[ends])
    return height


def unrolled(raw: Floats, sets: tuple[CountSet, ...]) -> Floats:
    height = raw.copy()
    for each in sets:
        height[each.index :] -= each.jump
    return height


def speeds(time_s: Floats, height: Floats, period_s: float) -> tuple[Floats, Floats, float]:
    half = max(1, round(SPEED_WINDOW_S / 2 / period_s))
    index = np.arange(len(time_s))
    low, high = np.maximum(index - half, 0), np.minimum(index + half, len(time_s) - 1)
    speed = (height[high] - height[low]) / np.maximum(time_s[high] - time_s[low], 1e-9)
    step = np.diff(time_s)
    rate = np.zeros(len(time_s))
    rate[1:] = np.where(step > 0, np.diff(height) / np.maximum(step, 1e-9), 0.0)
    return rate, speed, 2 * half * period_s
