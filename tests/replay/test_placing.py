"""Where an edge lies: intervals, ages and other visits multiplied."""

from __future__ import annotations

import numpy as np
import pytest

from replay.placing import SURE, Sight, placed


def test_one_interval_alone_is_its_middle_and_most_of_its_width() -> None:
    mean, low, high = placed(Sight(10.0, 14.0), [])
    assert mean == pytest.approx(12.0, abs=0.02)
    assert high - low == pytest.approx(SURE * 4.0, abs=0.05)


def test_an_old_reading_lies_above_its_interval() -> None:
    prompt = placed(Sight(10.0, 14.0), [])[0]
    assert placed(Sight(10.0, 14.0, age=1.0), [])[0] == pytest.approx(prompt + 1.0, abs=0.1)
    assert placed(Sight(10.0, 14.0, hold=2.0), [])[0] == pytest.approx(prompt + 1.0, abs=0.1)


def test_a_wide_interval_leans_on_the_narrow_one_in_it() -> None:
    mean, low, high = placed(Sight(0.0, 40.0), [Sight(11.0, 12.0, spread=0.4)])
    assert 11.0 < mean < 13.0
    assert low < 11.5 < high
    assert high - low < 40.0 * SURE


def test_an_edge_that_moved_is_not_outvoted() -> None:
    others = [Sight(50.0, 51.0, spread=0.5) for _ in range(8)]
    assert placed(Sight(10.0, 14.0), others)[0] == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize("seed", range(3))
def test_bounds_hold_the_truth_as_often_as_they_say(seed: int) -> None:
    rng = np.random.default_rng(seed)
    held = []
    for _ in range(200):
        sights = []
        for _ in range(3):
            width = rng.uniform(1.0, 8.0)
            low = -rng.uniform(0.0, width)
            way = rng.normal(0.0, 0.4)
            sights.append(Sight(low + way, low + way + width, spread=0.4))
        _, low, high = placed(sights[0], sights[1:])
        held.append(low <= 0.0 <= high)
    # 200 draws scatter by 1.5 %; the spread of the first is its own
    assert np.mean(held) > SURE - 0.05
