"""Where the lift came to its first standstill past the trip, and how far past it got: the rows and between.

A row shows where the spool was once a loop. What it did between two rows is bounded by the motion before and
after them; a standstill at a speed just about `replay.track.STILL_MM_S` is a matter of the threshold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from replay.track import STILL_MM_S, Track

#: A carriage that stood this long came to rest [s]; shorter is the dead centre of a bounce.
STAND_S = 0.15
#: A spool that seems to stand is watched for this long [s]: one that unwinds steadily, faster than
#: `STILL_MM_S` and by this many counts, has not come to rest. Friction that only slows it lets it creep.
CREEP_S, CREEP_QUANTA = 1.0, 3.0
#: It unwinds steadily when no third of that time brings less than this share of the most that one brings.
STEADY_SHARE = 0.5
#: A coarse count must be watched longer to tell 2 mm/s from rest, but no longer than this [s].
LONGEST_STAND_S = 0.4
#: A spool slower than this times `STILL_MM_S` may be said to stand, or not: a matter of the threshold.
ABOUT = 2.0
#: Share of the way that may be hidden between two rows that is taken as gone through: a stop or a string ends
#: a motion more abruptly than the single acceleration of which that way is the bound.
HIDDEN_SHARE = 1 / 3


@dataclass(frozen=True)
class Depth:
    """Lowest height of the spool until its first standstill [mm].

    ``low`` is the deepest it may have been, ``high`` the least deep: where it may already be said to stand.
    """

    height: float
    low: float
    high: float


def depth_of(track: Track, at: int, stand: int, last: int) -> Depth:
    """Lowest height between the trip at row ``at`` and the standstill at row ``stand``.

    `HIDDEN_SHARE` of what may be hidden between the rows is taken as gone through, with none and all of it as
    bounds. ``last`` is the last row before the lift is driven out again.
    """
    stand = max(stand, at)
    lowest = at + int(np.argmin(track.height[at : stand + 1]))
    seen = float(track.height[lowest])
    hidden = _hidden(track, lowest)
    below = min(seen - hidden, _crept_to(track, stand, last))
    return Depth(seen - HIDDEN_SHARE * hidden, below, _stood_at(track, at, stand, seen))


def _hidden(track: Track, lowest: int) -> float:
    """How much deeper than its lowest row the spool may have been between two rows [mm].

    The motion is taken to turn with one acceleration from the speed at which it came to the row before: the
    deepest point of that parabola. A motion that came to its lowest row slowly hides nothing.
    """
    deepest = float(track.height[lowest])
    for first in (lowest - 1, lowest):
        if 1 <= first < len(track) - 1:
            deepest = min(deepest, _turning_point(track, first))
    # rows are known to a count
    hidden = float(track.height[lowest]) - deepest
    return hidden + track.quantum if hidden > track.quantum else 0.0


def _turning_point(track: Track, first: int) -> float:
    """Lowest point between rows ``first`` and the next of a motion with one acceleration [mm]."""
    height, rate = track.height, track.rate
    # the speed of a row is that of the middle of the step before it, less what it slackened since
    slackened = max(0.0, float(rate[first] - rate[first - 1])) / 2 if first > 1 else 0.0
    speed = -float(rate[first]) - slackened
    step_s = float(track.time_s[first + 1] - track.time_s[first])
    rise = float(height[first + 1] - height[first]) + speed * step_s
    if speed <= 0 or step_s <= 0 or rise <= 0:
        return float(height[first])
    turn_s = speed * step_s**2 / (2 * rise)
    if turn_s >= step_s:
        return float(height[first + 1])
    return float(height[first]) - speed * turn_s / 2


def _crept_to(track: Track, stand: int, last: int) -> float:
    """Height to which a spool that seems to stand creeps on, at a speed that might count as moving [mm]."""
    until = stand
    while until < last and STILL_MM_S / ABOUT < _slope(track, until, last) <= STILL_MM_S * ABOUT:
        until = min(track.after(until, CREEP_S), last)
    return float(np.min(track.height[stand : until + 1]))


def _slope(track: Track, index: int, last: int) -> float:
    """Speed inwards over `CREEP_S` after a row [mm/s]."""
    until = min(track.after(index, CREEP_S), last)
    time_s = float(track.time_s[until] - track.time_s[index])
    return float(track.height[index] - track.height[until]) / time_s if time_s > 0 else 0.0


def _stood_at(track: Track, at: int, stand: int, lowest: float) -> float:
    """Height at which it might have been said to stand before: from there on it only crept [mm]."""
    rows = slice(at, stand + 1)
    since_s = track.time_s[stand] - track.time_s[rows]
    fast = track.height[rows] - track.height[stand] > track.quantum + ABOUT * STILL_MM_S * since_s
    quick = np.flatnonzero(fast)
    first = at + (int(quick[-1]) + 1 if len(quick) else 0)
    return max(lowest, float(track.height[first])) if first < stand else lowest


def first_stand(track: Track, index: int, last: int) -> int:
    """First row from ``index`` on at which the lift stands for `STAND_S` or turns outwards.

    It stands while the count stays within one quantum (or what `STILL_MM_S` makes) of where it was: a
    coarse count shows a slow lift as a row of rests.
    """
    near = max(1.01 * track.quantum, STILL_MM_S * STAND_S)
    wait_s = min(max(STAND_S, 1.2 * track.quantum / STILL_MM_S), LONGEST_STAND_S)
    for i in range(index, last + 1):
        if track.speed[i] > track.still and track.rate[i] >= 0:
            return i
        until = max(track.after(i, wait_s), i + 2)
        part = track.height[i : min(until, last) + 1]
        if float(np.max(np.abs(part - part[0]))) <= near and not _creeps_on(track, i, last):
            return i
    return last


def _creeps_on(track: Track, index: int, last: int) -> bool:
    """Whether the spool goes on inwards from ``index``, slowly and steadily."""
    until = min(track.after(index, CREEP_S), last)
    marks = np.linspace(index, until, 4).astype(np.int64)
    way = -np.diff(track.height[marks])
    time_s = float(track.time_s[until] - track.time_s[index])
    if float(way.sum()) <= max(STILL_MM_S * time_s, CREEP_QUANTA * track.quantum):
        return False
    return float(way.min()) + track.quantum >= STEADY_SHARE * float(way.max())
