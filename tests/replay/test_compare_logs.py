"""Before and after: intervals against published values, and what is claimed from them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matchrun import match_log

import replay
from replay.compare_logs import Change, Measure, compare_logs, comparisons_json
from replay.intervals import mean_interval, share_interval, spread_interval


def test_mean_against_a_t_table() -> None:
    # Student's t, 97.5 %, 9 degrees of freedom: 2.262 (any printed table; from memory)
    values = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0])
    found = mean_interval(values)
    half = 2.262 * np.std(values, ddof=1) / np.sqrt(10)
    assert found.low == pytest.approx(4.5 - half, abs=2e-3)
    assert found.high == pytest.approx(4.5 + half, abs=2e-3)


def test_spread_against_a_chi_squared_table() -> None:
    # chi squared, 9 degrees of freedom: 2.700 at 2.5 % and 19.023 at 97.5 % (any printed table; from memory)
    values = np.arange(10.0)
    spread = float(np.std(values, ddof=1))
    found = spread_interval(values)
    assert found.low == pytest.approx(spread * np.sqrt(9 / 19.023), rel=1e-4)
    assert found.high == pytest.approx(spread * np.sqrt(9 / 2.700), rel=1e-3)


def test_intervals_cover_at_the_stated_rate() -> None:
    rng = np.random.default_rng(7)
    draws = rng.normal(3.0, 2.0, (600, 5))
    means = [mean_interval(row) for row in draws]
    spreads = [spread_interval(row) for row in draws]
    assert 0.92 < np.mean([each.low < 3.0 < each.high for each in means]) < 0.98
    assert 0.92 < np.mean([each.low < 2.0 < each.high for each in spreads]) < 0.98


def test_too_few_visits_have_no_interval() -> None:
    assert np.isnan(mean_interval(np.array([4.0])).low)
    assert np.isnan(spread_interval(np.array([4.0])).value)
    assert np.isnan(share_interval([]).value)


@pytest.fixture(scope="module")
def healthy(tmp_path_factory: pytest.TempPathFactory) -> replay.Diagnosis:
    match = match_log(None, 4)
    return replay.diagnose(match.log(tmp_path_factory.mktemp("log")), limit_mm=match.limit)


def _shifted(found: replay.Diagnosis, *, over: float = 0.0, speed: float = 1.0) -> replay.Diagnosis:
    visits = tuple(
        replace(each, overtravel=each.overtravel + over, approach_speed=each.approach_speed * speed)
        for each in found.visits
    )
    return replace(found, visits=visits)


def test_the_same_log_twice_proves_nothing(healthy: replay.Diagnosis) -> None:
    found = compare_logs([healthy, healthy])
    assert "no proven change" in found.headline
    assert not found.warnings
    assert all(each.changes[1] in (Change.NOT_PROVEN, Change.CANNOT_SAY) for each in found.measures)


def test_a_plain_change_is_proven(healthy: replay.Diagnosis) -> None:
    found = compare_logs([healthy, _shifted(healthy, over=60.0)])
    if found[Measure.OVERTRAVEL].changes[1] is Change.CANNOT_SAY:
        pytest.skip("one visit")
    assert found[Measure.OVERTRAVEL].changes == (Change.FIRST, Change.HIGHER)
    assert "overtravel higher" in found.headline


def test_another_speed_is_warned_of(healthy: replay.Diagnosis) -> None:
    found = compare_logs([healthy, _shifted(healthy, speed=1.5)])
    assert any("approach speed differs" in each for each in found.warnings)


def test_without_a_scale_no_lengths_are_compared(healthy: replay.Diagnosis) -> None:
    found = compare_logs([healthy, replace(healthy, scaled=False)])
    assert Measure.OVERTRAVEL not in {each.measure for each in found.measures}
    assert any("no scale" in each for each in found.warnings)


def test_one_log_is_refused(healthy: replay.Diagnosis) -> None:
    with pytest.raises(ValueError, match="two or more"):
        compare_logs([healthy])


def test_json_is_plain(healthy: replay.Diagnosis, tmp_path: Path) -> None:
    text = json.dumps(comparisons_json(compare_logs([healthy, healthy])), allow_nan=False)
    assert "no_proven_change" in text
