from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest

from homing.statistics import (
    interval,
    lower_bound,
    quantiles,
    runs_needed,
    scatter,
    tolerance_factor,
    upper_bound,
)


def binomial_at_most(failures: int, runs: int, rate: float) -> float:
    return sum(math.comb(runs, k) * rate**k * (1 - rate) ** (runs - k) for k in range(failures + 1))


@pytest.mark.parametrize(("failures", "runs"), [(0, 1), (0, 299), (1, 30), (7, 50), (49, 50), (3, 400)])
def test_upper_bound_is_where_so_few_failures_become_unlikely(failures: int, runs: int) -> None:
    # the definition of the exact limit, by summing the binomial distribution itself
    assert binomial_at_most(failures, runs, upper_bound(failures, runs, 0.95)) == pytest.approx(
        0.05, rel=1e-9
    )


@pytest.mark.parametrize(("failures", "runs"), [(1, 1), (1, 30), (7, 50), (50, 50)])
def test_lower_bound_is_where_so_many_failures_become_unlikely(failures: int, runs: int) -> None:
    rate = lower_bound(failures, runs, 0.95)
    assert 1 - binomial_at_most(failures - 1, runs, rate) == pytest.approx(0.05, rel=1e-9)


def test_closed_forms_at_the_ends_meet_the_beta_quantile() -> None:
    from scipy.special import betaincinv

    assert upper_bound(0, 77, 0.9) == pytest.approx(betaincinv(1, 77, 0.9), rel=1e-13)
    assert lower_bound(77, 77, 0.9) == pytest.approx(betaincinv(77, 1, 0.1), rel=1e-13)


def test_exact_bound_covers_the_true_rate_as_often_as_promised() -> None:
    # exact coverage, summed over all outcomes, for rates around the usual allowance
    for rate in (0.001, 0.005, 0.01, 0.05):
        runs = 300
        covered = sum(
            math.comb(runs, k) * rate**k * (1 - rate) ** (runs - k)
            for k in range(40)
            if upper_bound(k, runs, 0.95) >= rate
        )
        assert covered >= 0.95


def test_no_runs_say_nothing() -> None:
    assert interval(0, 0) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("rate", "confidence"), [(0.01, 0.95), (0.5, 0.5), (0.001, 0.99), (0.9, 0.1), (1e-5, 0.95)]
)
def test_runs_needed_is_the_smallest_that_suffices(rate: float, confidence: float) -> None:
    runs = runs_needed(rate, confidence)
    assert upper_bound(0, runs, confidence) <= rate
    assert runs == 1 or upper_bound(0, runs - 1, confidence) > rate


def test_298_runs_are_one_too_few() -> None:
    assert upper_bound(0, 298) > 0.01 >= upper_bound(0, 299)


@pytest.mark.parametrize(
    ("failures", "runs", "confidence"), [(-1, 10, 0.9), (11, 10, 0.9), (1, 10, 1.0), (1, 10, math.nan)]
)
def test_impossible_counts_are_refused(failures: int, runs: int, confidence: float) -> None:
    with pytest.raises(ValueError):
        upper_bound(failures, runs, confidence)


def test_impossible_shares_are_refused() -> None:
    with pytest.raises(ValueError):
        runs_needed(0.0)
    with pytest.raises(ValueError):
        tolerance_factor(1, 0.9)


def test_quantiles_are_values_of_runs() -> None:
    values = np.random.default_rng(5).normal(size=997)
    for share, value in zip(
        (0.0, 0.5, 0.95, 0.99, 1.0), quantiles(values, (0.0, 0.5, 0.95, 0.99, 1.0)), strict=True
    ):
        assert value in values
        assert np.mean(values <= value) >= share
        assert np.mean(values < value) < share or share == 0.0


def test_quantiles_leave_missing_metrics_out_and_keep_infinity() -> None:
    values = [math.nan, 3.0, math.inf, 1.0, math.nan, 2.0]
    assert quantiles(values, (0.5, 0.99)) == (2.0, math.inf)
    assert all(math.isnan(value) for value in quantiles([math.nan, math.nan], (0.5, 0.99)))
    assert all(math.isnan(value) for value in quantiles([], (0.5,)))


def test_scatter_leaves_missing_metrics_out() -> None:
    assert scatter([1.0, math.nan, 3.0]) == pytest.approx(math.sqrt(2.0))
    assert math.isnan(scatter([1.0, math.nan]))


def test_tolerance_factor_shrinks_to_the_normal_quantile() -> None:
    assert tolerance_factor(10**7, 0.95) == pytest.approx(1.959964, rel=1e-3)
    assert tolerance_factor(10**6, 0.95, two_sided=False) == pytest.approx(1.644854, rel=3e-3)


def test_bounds_without_failures_load_no_scipy() -> None:
    code = (
        "import sys; from homing.statistics import interval, runs_needed, quantiles;"
        "interval(0, 2000); runs_needed(0.01); quantiles([1.0], (0.5,));"
        "sys.exit('scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
