"""Loop periods, speeds and turns of logs whose answers are known by construction."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logfiles import Story, up_and_down, write

import replay
from replay import measured_periods, read_log
from replay.motion import _turns_of, motion
from replay.timing import periods
from sensor_models.errors import InputError


def test_statistics_of_periods(tmp_path: Path) -> None:
    # 99 steps of 20 ms and one of 120 ms
    t = np.arange(101) * 20
    t[60:] += 100
    log = read_log(write(tmp_path, Story(t, np.zeros(101, dtype=int)).text()))
    found = periods(log)
    assert found.steps == 100
    assert found.median_s == pytest.approx(0.020)
    assert found.longest_s == pytest.approx(0.120)
    assert found.shortest_s == pytest.approx(0.020)
    assert found.mean_s == pytest.approx(0.021)
    assert found.p99_s == pytest.approx(float(np.percentile(np.diff(t), 99)) / 1e3)


def test_measured_periods_keep_late_loops_and_drop_what_is_no_period(tmp_path: Path) -> None:
    steps = [20, 20, 120, 0, 21, 19, 60_000, 20, -500, 20, 22]
    t = np.cumsum([0, *steps]) + 70_000
    path = write(tmp_path, "time_ms,note\n" + "\n".join(f"{each},x" for each in t))
    # no counts are needed; the repeated stamp, the pause of a minute and the step back are no periods
    found = measured_periods(path)
    np.testing.assert_allclose(found, np.array([20, 20, 120, 21, 19, 20, 20, 22]) / 1e3, atol=1e-12)
    assert found.dtype == np.float64


def test_measured_periods_by_map(tmp_path: Path) -> None:
    path = write(tmp_path, "a;b\n0;1\n1;2\n3;3\n")
    with pytest.raises(InputError):
        measured_periods(path)
    found = measured_periods(path, {"time": {"column": "a", "unit": "ms"}})
    np.testing.assert_allclose(found, [0.001, 0.002])


def test_speeds_and_turns(tmp_path: Path) -> None:
    story = up_and_down(rows=400, period_ms=20, speed=30)
    log = read_log(write(tmp_path, story.text()))
    found = motion(log)
    assert found.window_s == pytest.approx(0.06)
    assert found.fastest_out == pytest.approx(30 / 0.02)
    assert found.fastest_in == pytest.approx(-30 / 0.02)
    assert (found.lowest, found.highest) == (0, story.counts.max())
    # out and back in again: one turn, at the top
    assert len(found.turns) == 1
    assert story.counts[found.turns[0]] == story.counts.max()


def test_speeds_do_not_reach_across_a_reset_or_a_new_stretch(tmp_path: Path) -> None:
    story = up_and_down()
    counts = story.counts.copy()
    counts[118:] -= counts[118]
    log = read_log(write(tmp_path, story.with_counts(counts).text()))
    found = motion(log)
    assert abs(found.fastest_in) <= 30 / 0.02 + 1e-9
    assert found.fastest_out <= 30 / 0.02 + 1e-9


def test_a_toggling_count_makes_no_turns() -> None:
    assert _turns_of([0, 1, 0, 1, 0, 1, 0], 4.0) == []
    assert _turns_of([0, 10, 5, 11, 3], 4.0) == [1, 2, 3]
    assert _turns_of([0, 10, 7, 11, 3], 4.0) == [3]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-50, 50), min_size=2, max_size=60), st.integers(1, 20))
def test_turns_alternate_and_are_as_far_apart_as_asked(counts: list[int], size: int) -> None:
    turns = _turns_of([float(each) for each in counts], float(size))
    values = [counts[i] for i in turns]
    assert turns == sorted(set(turns))
    assert all(abs(b - a) >= size for a, b in pairwise(values))
    signs = [np.sign(b - a) for a, b in pairwise(values)]
    assert all(a == -b for a, b in pairwise(signs))
    # the same log read backwards has the same number of turns
    assert len(_turns_of([float(each) for each in counts[::-1]], float(size))) == len(turns)


def test_names_that_the_package_offers() -> None:
    assert replay.__all__ == sorted(replay.__all__)
    for name in replay.__all__:
        assert getattr(replay, name) is not None
    with pytest.raises(AttributeError):
        replay.nothing  # noqa: B018
