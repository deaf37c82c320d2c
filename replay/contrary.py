"""Readings that contradict the height: made far above the trip, or not made just below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.diagnosis import Visit
from replay.track import WORKING_RANGE_MM, Track

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: A reading contradicts the height only this far from the trip [mm]: hysteresis and the lag of the string.
CLEAR_MM = 10.0
#: A sensor lets go of its target this many times as far above the trip at most.
LETS_GO_TIMES = 2.0
#: Around the trip itself a reading says nothing [mm].
EDGE_MM = 1.5
#: Where no scale is known these are shares of the log's range, which on a short log are few mm.
CLEAR_SHARE, EDGE_SHARE = 0.1, 0.01
#: Below the trip the reading must be made only down to where a healthy target still covers the sensor [mm].
COVERED_MM = 12.0


@dataclass(frozen=True, slots=True)
class Contrary:
    """A run of readings that the height contradicts.

    ``made`` tells a made reading far above the trip from a missing one just below it; ``first`` and
    ``last`` are indices, ``height`` [mm] is where it began, ``height_end`` where it ended.
    """

    made: bool
    first: int
    last: int
    duration_s: float
    height: float
    height_end: float

    @property
    def rows(self) -> int:
        """Rows in the run."""
        return self.last - self.first + 1


def contrary_runs(track: Track, trips: Floats, arrived: Flags, good: Sequence[Visit]) -> tuple[Contrary, ...]:
    """All runs of readings that the height contradicts.

    Parameters
    ----------
    trips : (n,) array
        Trip height that holds at each row [mm].
    arrived : (n,) array of bool
        Rows from the trip of each visit to its end.
    good : sequence of Visit
        Visits that kept the limit.
    """
    if track.made is None:
        return ()
    clear = CLEAR_MM if track.scaled else CLEAR_SHARE * WORKING_RANGE_MM
    edge = EDGE_MM if track.scaled else EDGE_SHARE * WORKING_RANGE_MM
    over = track.height - trips
    margin = clear + np.abs(track.speed) * (track.period_s + 0.01)
    false_made = track.made & (over > margin)
    missing = ~track.made & (over < -edge) & (over > -_covered(track.made, good))
    missing &= (track.speed <= track.still) & arrived
    late = [run for run in _runs(track, false_made, True) if not _lets_go(track, over, run, clear)]
    runs = (*late, *_runs(track, missing, False))
    return tuple(sorted(runs, key=lambda run: run.first))


def _lets_go(track: Track, over: Floats, run: Contrary, clear: float) -> bool:
    """The reading stayed made from below the trip and lapsed on the way out, not far above: hysteresis.

    The trip itself is known from one way in only, and a sensor that looks for a target from afar lets go
    of it much higher than it finds it.
    """
    assert track.made is not None
    stayed = run.first > 0 and bool(track.made[run.first - 1]) and track.speed[run.first] >= -track.still
    return stayed and float(np.max(over[run.first : run.last + 1])) <= LETS_GO_TIMES * clear


def _covered(made: Flags, good: Sequence[Visit]) -> float:
    """How far below the trip a healthy target was still read at rest [mm], at most `COVERED_MM`."""
    depths = [each.overtravel for each in good if bool(made[each.stand])]
    return min(COVERED_MM, max([4 * EDGE_MM, *(depth + EDGE_MM for depth in depths)]))


def _runs(track: Track, flags: Flags, made: bool) -> list[Contrary]:
    change = np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8))
    firsts, lasts = np.flatnonzero(change == 1), np.flatnonzero(change == -1) - 1
    return [
        Contrary(
            made,
            int(a),
            int(b),
            float(track.time_s[b] - track.time_s[a] + track.period_s),
            float(track.height[a]),
            float(track.height[b]),
        )
        for a, b in zip(firsts, lasts, strict=True)
    ]
