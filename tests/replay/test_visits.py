"""Visits of logs whose truth is known: made by hand, and by the match simulator."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from logfiles import write
from matchrun import match_log

from replay.reading import read_log
from replay.track import track_of
from replay.units import Role
from replay.visits import visits_of

T = 0.02


def story(
    visits: int = 4, speed: float = 100.0, trip: float = 20.0, stop: float = 4.0, zero: bool = False
) -> str:
    """A lift that comes in at ``speed`` [mm/s], is read at ``trip``, stops ``stop`` mm on; 0.5 mm a count."""
    lines = ["time_s,counts,limit,power"]
    height, t, offset = 200.0, 0.0, 0.0
    rest = trip - stop

    def row(moved: float, power: float) -> None:
        nonlocal height, t
        height += moved
        t += T
        lines.append(f"{t:.3f},{int(np.floor((height - offset) * 2))},{int(height <= trip)},{power}")

    for _ in range(visits):
        for _ in range(30):
            row(0.0, 0.1)
        while height > trip:
            row(-speed * T, -0.4)
        while height > rest:
            row(-min(speed * T, height - rest), 0.1)
        for k in range(40):
            offset = rest if zero and k == 20 else offset
            row(0.0, 0.1)
        while height < 200:
            row(6.0, 0.8)
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("zero", [False, True])
@pytest.mark.parametrize("speed", [60.0, 100.0, 150.0])
def test_visits_by_hand(tmp_path: Path, speed: float, zero: bool) -> None:
    log = read_log(write(tmp_path, story(speed=speed, zero=zero))).scaled(0.5)
    found = visits_of(track_of(log))
    assert len(found.visits) == 4
    for visit in found.visits:
        assert visit.approach_speed == pytest.approx(speed, abs=0.5 / 0.06)
        assert visit.overtravel == pytest.approx(4.0, abs=speed * T / 2 + 1.2)
        assert visit.edge_low <= 20.5
        assert visit.edge_high >= 19.5
        assert visit.made
        assert visit.command_delay_s == pytest.approx(T)
        assert visit.longest_step_s == pytest.approx(T, abs=1e-6)
    assert [bool(visit.zeros) for visit in found.visits[:-1]] == [zero, False, False]


def test_an_inverted_count_gives_the_same_visits(tmp_path: Path) -> None:
    text = story()
    head, *rows = text.strip().split("\n")
    turned = [",".join([t, str(-int(c)), s, p]) for t, c, s, p in (row.split(",") for row in rows)]
    one = visits_of(track_of(read_log(write(tmp_path, text)).scaled(0.5))).visits
    track = track_of(read_log(write(tmp_path, "\n".join([head, *turned]) + "\n", "b.csv")).scaled(0.5))
    two = visits_of(track).visits
    assert track.turned
    assert [v.overtravel for v in one] == pytest.approx([v.overtravel for v in two], abs=0.51)


def test_without_a_sensor_rest_heights_make_the_visits(tmp_path: Path) -> None:
    text = (
        "\n".join(",".join(np.array(row.split(","))[[0, 1, 3]]) for row in story().strip().split("\n")) + "\n"
    )
    log = read_log(write(tmp_path, text)).scaled(0.5)
    assert Role.SENSOR not in log
    visits = visits_of(track_of(log)).visits
    assert len(visits) == 4
    assert not any(visit.made for visit in visits)


def test_a_short_way_in_is_no_arrival(tmp_path: Path) -> None:
    head, *rows = story(visits=3).strip().split("\n")
    log = read_log(write(tmp_path, "\n".join([head, *rows]) + "\n")).scaled(0.5)
    whole = visits_of(track_of(log))
    assert len(whole.descents) == len(whole.visits) == 3


@pytest.mark.parametrize("seed", range(6))
def test_healthy_matches_are_measured(tmp_path: Path, seed: int) -> None:
    match = match_log(None, seed)
    visits = visits_of(track_of(match.log(tmp_path))).visits
    assert len(visits) == pytest.approx(len(match.per_visit), abs=1)
    measured = [each.overtravel for each in visits]
    # half a loop's way is what the sampling leaves open
    half = [each.edge_doubt + 1.0 for each in visits]
    if len(visits) == len(match.per_visit):
        for got, true, doubt in zip(measured, match.per_visit, half, strict=True):
            assert got == pytest.approx(true, abs=doubt + 1.0)
