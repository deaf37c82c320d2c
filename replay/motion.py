"""Speeds and direction changes, straight from the counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.log import Log
from replay.timing import periods

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A speed is taken over at least this time [s], or single counts and stamp jitter would make it.
SPEED_WINDOW_S = 0.05
#: A turn counts once the count has come back by this share of its whole range,
TURN_SHARE = 0.01
#: and by at least this many counts, or mm: a shaft at rest toggles between two counts.
TURN_COUNTS, TURN_MM = 4.0, 1.0


@dataclass(frozen=True)
class Motion:
    """Speed range and turns, in counts (or mm where the log is scaled).

    ``fastest_in`` is the most negative speed [1/s], ``fastest_out`` the most positive; NaN when no two
    rows can be compared. ``turns`` are the indices of the rows at which the direction changes.
    """

    window_s: float
    fastest_in: float
    fastest_out: float
    lowest: float
    highest: float
    turn_size: float
    turns: Ints


def motion(log: Log) -> Motion:
    """Speed range and direction changes of a log; nothing is followed across a break or a new stretch."""
    median_s = periods(log).median_s
    # a hair less, so that an exact multiple of the period is not rounded up to one more
    width = max(1, int(np.ceil(SPEED_WINDOW_S / median_s - 1e-6)))
    piece = _pieces(log)
    speed = _speeds(log, piece, min(width, len(log) - 1))
    counts = log.counts
    lowest, highest = float(np.nanmin(counts)), float(np.nanmax(counts))
    size = max(TURN_MM if log.scaled_by_itself else TURN_COUNTS, TURN_SHARE * (highest - lowest))
    return Motion(
        window_s=width * median_s,
        fastest_in=float(np.min(speed)) if len(speed) else float("nan"),
        fastest_out=float(np.max(speed)) if len(speed) else float("nan"),
        lowest=lowest,
        highest=highest,
        turn_size=size,
        turns=_turns(counts, piece, size),
    )


def _pieces(log: Log) -> Ints:
    """Number of the piece of unbroken motion to which each row belongs."""
    cuts = np.zeros(len(log), dtype=np.int64)
    cuts[log.starts[1:]] = 1
    cuts[log.breaks] = 1
    return np.cumsum(cuts)


def _speeds(log: Log, piece: Ints, width: int) -> Floats:
    step = log.time_s[width:] - log.time_s[:-width]
    change = log.counts[width:] - log.counts[:-width]
    usable = (piece[width:] == piece[:-width]) & (step > 0) & np.isfinite(change)
    speed: Floats = change[usable] / step[usable]
    return speed


def _turns(counts: Floats, piece: Ints, size: float) -> Ints:
    turns: list[int] = []
    for number in np.unique(piece):
        rows = np.flatnonzero((piece == number) & np.isfinite(counts))
        turns += [int(rows[i]) for i in _turns_of(counts[rows].tolist(), size)]
    return np.array(turns, dtype=np.int64)


def _turns_of(counts: list[float], size: float) -> list[int]:
    """Indices of the extremes from which the count comes back by ``size`` or more."""
    turns: list[int] = []
    low = high = 0
    direction = 0
    for i, count in enumerate(counts):
        if count > counts[high]:
            high = i
        if count < counts[low]:
            low = i
        if direction >= 0 and count <= counts[high] - size:
            turns += [high] if direction > 0 else []
            direction, low = -1, i
        elif direction <= 0 and count >= counts[low] + size:
            turns += [low] if direction < 0 else []
            direction, high = 1, i
    return turns
