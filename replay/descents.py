"""The log cut at its highest points into descents, and what the sensor read in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.track import Track

Floats = NDArray[np.float64]

#: A descent ends when the lift has come up again by this share of its whole range, and by this much [mm]:
#: more than a back-off at the sensor, less than the lowest useful lift.
LIFT_SHARE, LIFT_MM = 0.12, 35.0
#: The lift has left its starting height once it is this far below it [mm].
LEFT_MM = 2.0
#: Made readings this shortly before the lasting one belong to the same contact [s].
BOUNCE_S = 0.15


@dataclass(frozen=True, slots=True)
class Descent:
    """One way inwards: from the last row at the upper height to the last before the next such row.

    ``low`` is the deepest row; ``seen`` the first made reading after an unmade one on the way in (or the
    first row already made at the start, then ``seen == start``); ``onsets`` all rows at which the reading
    became made, ``lapses`` all at which it lapsed, between start and end.
    """

    start: int
    low: int
    end: int
    drop: float
    seen: int | None
    onsets: tuple[int, ...]
    lapses: tuple[int, ...]


def descents(track: Track) -> tuple[Descent, ...]:
    """Cut a track into descents, in order of time."""
    height = track.height
    spread = float(np.percentile(height, 98) - np.percentile(height, 2))
    size = max(LIFT_MM, LIFT_SHARE * spread)
    found = []
    turns = _turns(height, size)
    for high, low, until in turns:
        start = _leaves(height, high, low)
        drop = float(height[start] - height[low])
        if drop > max(LEFT_MM, 3 * track.quantum):
            found.append(_descent(track, start, low, until, drop))
    return tuple(found)


def _turns(height: Floats, size: float) -> list[tuple[int, int, int]]:
    """Triples (high, low, next high) from which the height comes back by at least ``size``."""
    triples: list[tuple[int, int, int]] = []
    high = low = 0
    falling = True
    peak = 0
    for i, value in enumerate(height.tolist()):
        if falling:
            if value < height[low]:
                low = i
            elif value >= height[low] + size:
                triples.append((peak, low, i))
                falling, high = False, i
        else:
            if value > height[high]:
                high = i
            elif value <= height[high] - size:
                peak, low, falling = high, i, True
                triples[-1] = (triples[-1][0], triples[-1][1], high)
    if falling:
        triples.append((peak, low, len(height) - 1))
    else:
        triples[-1] = (triples[-1][0], triples[-1][1], len(height) - 1)
    return triples


def _leaves(height: Floats, high: int, low: int) -> int:
    """Last row before the descent that is still at the upper height."""
    level = float(np.max(height[high : low + 1]))
    near = np.flatnonzero(height[high : low + 1] >= level - LEFT_MM)
    return high + int(near[-1])


def _descent(track: Track, start: int, low: int, until: int, drop: float) -> Descent:
    end = max(low, until - 1)
    if track.made is None:
        return Descent(start, low, end, drop, None, (), ())
    part = track.made[start : end + 1].astype(np.int8)
    change = np.diff(part)
    onsets = tuple((np.flatnonzero(change == 1) + 1 + start).tolist())
    lapses = tuple((np.flatnonzero(change == -1) + 1 + start).tolist())
    return Descent(start, low, end, drop, _seen(track, start, low, end, onsets, lapses), onsets, lapses)


def _seen(
    track: Track, start: int, low: int, end: int, onsets: tuple[int, ...], lapses: tuple[int, ...]
) -> int | None:
    """First made reading that belongs to the arrival: the first that lasts, else the first in the lower half.

    Single readings high up are flips; a run of readings that goes on at the lowest point is the sensor.
    """
    assert track.made is not None
    if not onsets:
        return start if bool(track.made[start]) and not lapses else None
    ends = [next((lapse for lapse in lapses if lapse > onset), end + 1) for onset in onsets]
    way_in = [(a, b) for a, b in zip(onsets, ends, strict=True) if a <= track.after(low, 1.0)]
    if not way_in:
        return onsets[0]
    half = float(track.height[start]) - 0.5 * _fall(track, start, low)
    lasting = [a for a, b in way_in if b - a >= 3 and track.height[b - 1] <= half]
    if lasting and track.height[lasting[0]] <= half:
        return _first_bounce(track, [a for a, _ in way_in], lasting[0])
    lower = [a for a, _ in way_in if track.height[a] <= half]
    return lower[0] if lower else (lasting[0] if lasting else None)


def _first_bounce(track: Track, onsets: list[int], lasting: int) -> int:
    """First of the bounces that led, one shortly after the other, to the reading that lasted."""
    first = lasting
    for onset in reversed([each for each in onsets if each < lasting]):
        if track.time_s[first] - track.time_s[onset] >= BOUNCE_S:
            break
        first = onset
    return first


def _fall(track: Track, start: int, low: int) -> float:
    return float(track.height[start] - track.height[low])


def edge_interval(track: Track, seen: int) -> tuple[float, float]:
    """Heights of the first made row and of the last unmade one; the trip was passed between the two."""
    low = float(track.height[seen])
    high = float(track.height[max(seen - 1, 0)])
    return min(low, high), max(low, high)


def release_interval(track: Track, each: Descent) -> tuple[float, float] | None:
    """Heights of the last made and the first unmade row on the way out; None where it was not seen."""
    after = [i for i in each.lapses if i > each.low and track.speed[i] > track.still]
    if not after:
        return None
    return float(track.height[after[-1] - 1]), float(track.height[after[-1]])
