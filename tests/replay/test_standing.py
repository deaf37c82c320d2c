"""Where a lift comes to rest, how deep it was between two rows, and what a zero does to its height."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from logfiles import write
from numpy.typing import NDArray

import replay
from replay.countsets import count_sets
from replay.standing import depth_of, first_stand
from replay.track import Track, track_of

Floats = NDArray[np.float64]
MM_PER_COUNT = 0.1
TOGGLES = 10


def tracked(folder: Path, height: Callable[[Floats], Floats], period_s: float, until_s: float) -> Track:
    """Track of a log whose counts follow ``height`` [mm] over time [s]; first the shaft toggles at rest."""
    time_s = np.arange(0.0, until_s, period_s)
    counts = np.round(height(time_s) / MM_PER_COUNT).astype(int)
    resting = counts[0] + np.arange(TOGGLES) % 2
    time_s = np.concatenate([np.arange(TOGGLES) * period_s, time_s + TOGGLES * period_s])
    counts = np.concatenate([resting, counts])
    rows = "\n".join(f"{t:.4f},{c}" for t, c in zip(time_s, counts, strict=True))
    return track_of(replay.read_log(write(folder, f"time_s,counts\n{rows}\n")).scaled(MM_PER_COUNT))


@pytest.mark.parametrize("phase_s", [0.0, 0.02, 0.04, 0.06, 0.08])
def test_the_deepest_point_between_rows_is_inside_the_bounds(tmp_path: Path, phase_s: float) -> None:
    """In at 500 mm/s, turned by 10 m/s^2, out again at 100 mm/s: with 0.1 s rows the turn is never a row."""
    speed, braking, deepest = 500.0, 10_000.0, -40.0
    turned_s = 0.62 + phase_s

    def height(time_s: Floats) -> Floats:
        since = time_s - turned_s
        before = np.where(since < -speed / braking, -since * speed - speed**2 / (2 * braking), 0.0)
        turning = np.where(since >= -speed / braking, braking * since**2 / 2, before)
        out = np.where(since > 0.01, braking * 0.01**2 / 2 + 100.0 * (since - 0.01), turning)
        return deepest + np.minimum(out, np.where(since > 0.1, 9.5, np.inf))

    track = tracked(tmp_path, height, 0.1, 3.0)
    stand = first_stand(track, TOGGLES + 1, len(track) - 1)
    depth = depth_of(track, TOGGLES + 1, stand, len(track) - 1)
    assert depth.low - MM_PER_COUNT <= deepest <= depth.high + MM_PER_COUNT
    assert depth.low <= depth.height <= depth.high
    assert depth.height <= float(np.min(track.height[: stand + 1]))


def test_rows_in_quick_succession_hide_nothing(tmp_path: Path) -> None:
    track = tracked(tmp_path, lambda t: np.maximum(100.0 - 200.0 * t, 0.0), 0.01, 2.0)
    stand = first_stand(track, TOGGLES + 1, len(track) - 1)
    depth = depth_of(track, TOGGLES + 1, stand, len(track) - 1)
    assert depth.high - depth.low < 1.0
    assert track.time_s[stand] == pytest.approx(TOGGLES * 0.01 + 0.5, abs=0.03)


@pytest.mark.parametrize(("creep_mm_s", "stood_s"), [(0.5, 0.5), (4.0, 3.5)])
def test_a_spool_that_creeps_on_has_not_come_to_rest(
    tmp_path: Path, creep_mm_s: float, stood_s: float
) -> None:
    """Standstill is under 2 mm/s: a coarse count shows a slow creep as a row of rests."""

    def height(time_s: Floats) -> Floats:
        arrived = np.maximum(100.0 - 200.0 * time_s, 0.0)
        return arrived - creep_mm_s * np.clip(time_s - 0.5, 0.0, 3.0)

    track = tracked(tmp_path, lambda t: 0.5 * np.round(height(t) / 0.5), 0.02, 5.0)
    stand = first_stand(track, TOGGLES + 1, len(track) - 1)
    assert track.time_s[stand] == pytest.approx(TOGGLES * 0.02 + stood_s, abs=0.2)


def test_a_creep_about_the_threshold_is_in_the_bounds(tmp_path: Path) -> None:
    """At 2 mm/s it may be said to stand, or not: both heights are inside."""

    def height(time_s: Floats) -> Floats:
        arrived = np.maximum(100.0 - 200.0 * time_s, 0.0)
        return arrived - 2.0 * np.clip(time_s - 0.5, 0.0, 3.0)

    track = tracked(tmp_path, height, 0.02, 5.0)
    depth = depth_of(track, TOGGLES + 1, first_stand(track, TOGGLES + 1, len(track) - 1), len(track) - 1)
    assert depth.high >= -0.5
    assert depth.low <= -5.5


def test_a_zero_right_after_a_stop_moves_the_height_by_nothing() -> None:
    """The speed before the zero is that of the row before, not of the way in."""
    time_s = np.arange(10) * 0.1
    raw = np.array([40.0, 36.0, 32.0, 28.0, 24.0, 23.0, 22.9, 0.0, 0.0, 0.0])
    made = np.arange(10) >= 4
    (zero,) = count_sets(time_s, raw, np.array([7]), (), 0.1, made)
    assert zero.jump == pytest.approx(-22.9, abs=0.2)
    assert zero.doubt < 0.5


def test_a_reset_in_motion_is_known_as_well_as_the_speed_about_it() -> None:
    time_s = np.arange(8) * 0.1
    raw = np.array([0.0, 20.0, 40.0, 60.0, 0.0, 2.0, 4.0, 6.0])
    (reset,) = count_sets(time_s, raw, np.array([4]), (), 0.1, None)
    # it went on by between 2 mm and 20 mm in that row
    assert reset.jump - 2 * reset.doubt <= -62.0 <= reset.jump + 2 * reset.doubt
    assert reset.doubt == pytest.approx(9.0, abs=1.0)
