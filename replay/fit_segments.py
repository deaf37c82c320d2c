"""Stretches of a log from which a lift can be fitted: moves from rest to rest with their commands."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from homing.words import CommandKind
from replay.fit_channels import (
    Channels,
    channels,
    command_rows,
    kinks_of,
    runs_of,
    spool_per_volt_second_m,
)
from replay.log import Log

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: A spool slower than this over `SPEED_WINDOW_S` stands [m/s]; single counts are slower still.
STANDS_M_S = 5.0e-3
SPEED_WINDOW_S = 0.06
#: A pause shorter than this is part of a move [s].
SHORT_PAUSE_S = 0.06
#: Rest that goes with a move: before it, so that it starts from a known state, and after it [s].
REST_BEFORE_S, REST_AFTER_S = 0.05, 0.12
#: Moves shorter than this tell nothing [m].
SHORTEST_MOVE_M = 0.01
#: A step between stamps longer than this many median periods hides what was commanded in it; rows with
#: a late loop are kept, since there the command did not change.
LONGEST_GAP = 12.0


@dataclass(frozen=True)
class Move:
    """One move from rest.

    Parameters
    ----------
    rows : (n,) int64
        Indices into the log.
    time_s, height_m : (n,) arrays
        Stamps and spool heights over the log's own zero.
    commands : (m, 3) array
        Instants [s], duty, terminal voltage [V] as logged, no latency in them.
    shifted : (m,) array
        The same instants if each row shows the command that was in force already.
    count_m : float
        Carriage travel for one count [m].
    kinks : tuple of (int, float)
        Rows around which the voltage between two rows is not known, and by how much the spool may have
        gone further or less far for it (standard deviation) [m].
    stride : int
        The fit looks at every so many-th row; neighbouring rows say nearly the same.
    """

    source: str
    rows: Ints
    time_s: Floats
    height_m: Floats
    commands: Floats
    shifted: Floats
    count_m: float
    kinks: tuple[tuple[int, float], ...] = ()
    stride: int = 1

    @property
    def kept(self) -> slice:
        """The rows that the fit looks at."""
        return slice(None, None, self.stride)

    def commands_for(self, *, row_before: bool) -> Floats:
        """Commands as sent in their rows, or a row before."""
        commands = self.commands.copy()
        if row_before:
            commands[:, 0] = self.shifted
        return commands

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def travel_m(self) -> float:
        """Span of heights [m]."""
        return float(np.ptp(self.height_m))


def moves_of(log: Log, lift: Lift) -> list[Move]:
    """All moves of a log that begin at rest, with readable counts and commands throughout."""
    found = channels(log, lift)
    if found is None:
        return []
    m_per_v_s = spool_per_volt_second_m(lift) if lift.drive.command is CommandKind.SPEED else 0.0
    moves = []
    for first, last in _spans(found, _pieces(log, found)):
        if np.ptp(found.height_m[first:last]) >= SHORTEST_MOVE_M:
            moves.append(_move(log, found, first, last, m_per_v_s=m_per_v_s))
    return moves


def _pieces(log: Log, found: Channels) -> list[tuple[int, int]]:
    """Index ranges without holes, resets, pauses of the logger and steps back in time."""
    step = np.diff(found.time_s, prepend=found.time_s[0])
    cut = (step < 0.0) | (step > LONGEST_GAP * found.period_s)
    cut[log.breaks] = True
    cut |= ~found.usable
    cut[1:] |= ~found.usable[:-1]
    edges = [0, *np.flatnonzero(cut).tolist(), len(cut)]
    return [(a, b) for a, b in pairwise(edges) if b - a > 5 and bool(found.usable[a:b].all())]


def _spans(found: Channels, pieces: list[tuple[int, int]]) -> list[tuple[int, int]]:
    spans = []
    width = max(1, round(SPEED_WINDOW_S / found.period_s))
    floor = max(STANDS_M_S, 2.0 * found.count_m / (width * found.period_s))
    before = max(2, round(REST_BEFORE_S / found.period_s))
    after = max(2, round(REST_AFTER_S / found.period_s))
    pause = max(1, round(SHORT_PAUSE_S / found.period_s))
    for low, high in pieces:
        moving = _moving(found, low, high, width, floor)
        for first, last in runs_of(moving, pause):
            start = low + first - before
            # from a known state only: at rest for a while before it begins
            if first < before or np.ptp(found.height_m[start : start + before]) > 1.5 * found.count_m:
                continue
            spans.append((start, min(high, low + last + after)))
    return spans


def _moving(found: Channels, low: int, high: int, width: int, floor: float) -> Flags:
    height, time = found.height_m[low:high], found.time_s[low:high]
    moving = np.zeros(high - low, dtype=np.bool_)
    if high - low <= width:
        return moving
    change = np.abs(height[width:] - height[:-width])
    passed = np.maximum(time[width:] - time[:-width], 1e-9)
    for i in np.flatnonzero(change > floor * passed):
        moving[i : i + width + 1] = True
    return moving


def _move(log: Log, found: Channels, first: int, last: int, *, m_per_v_s: float) -> Move:
    """``m_per_v_s``: spool travel for a volt-second, of a drive with a loop of its own; else 0."""
    ramps = m_per_v_s > 0.0
    part = slice(first, last)
    time = found.time_s[part]
    commands = command_rows(time, found.duty[part], found.bus_v[part], ramps=ramps)
    earlier = np.concatenate([[time[0] - found.period_s], time[:-1]])
    return Move(
        source=log.source,
        rows=np.arange(first, last),
        time_s=time,
        height_m=found.height_m[part],
        commands=commands,
        shifted=commands[:, 0] if ramps else earlier,
        count_m=found.count_m,
        kinks=kinks_of(found, part, m_per_v_s) if ramps else (),
    )
