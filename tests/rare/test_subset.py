"""Subset simulation against closed forms, its interval's coverage, and plain sampling where both can see.

Sources of the exact values: closed form. Linear limit state in standard-normal space: Phi(-beta). Circle: the
squared radius of two normals is exponential, P(r > R) = exp(-R^2/2). Two limits at once on independent
coordinates: the product.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom, norm

from homing import load_lift
from homing.ensemble import run_many
from homing.kernel.layout import RESULT_COLUMNS
from homing.rare.study import small_rates
from homing.rare.subset import small_probability
from homing.setting import prepare
from homing.statistics import interval

D = 10


def linear(probability: float):
    beta = norm.isf(probability)
    return lambda z, numbers: beta - z.sum(axis=1) / math.sqrt(D)


def circle(probability: float):
    radius2 = -2.0 * math.log(probability)
    return lambda z, numbers: radius2 - z[:, 0] ** 2 - z[:, 1] ** 2


def both(probability: float):
    beta = norm.isf(math.sqrt(probability))
    return lambda z, numbers: np.maximum(beta - z[:, 0], beta - z[:, 1])


def hidden(probability: float):
    """Half of the variance comes from the run's own random numbers."""
    beta = norm.isf(probability)

    def margin(z, numbers):
        # the golden ratio spreads whole numbers evenly (equidistribution)
        u = np.mod((numbers + 0.5) * 0.6180339887498949, 1.0)
        return beta - (z[:, 0] + norm.ppf(np.clip(u, 1e-12, 1 - 1e-12))) / math.sqrt(2.0)

    return margin


CASES = [(linear, 1e-4), (linear, 1e-6), (circle, 1e-5), (both, 1e-6), (hidden, 1e-4)]


@pytest.mark.parametrize(("kind", "exact"), CASES)
def test_meets_the_exact_probability(kind, exact: float) -> None:
    studies = [small_probability(kind(exact), D, 1000, seed=seed) for seed in range(8)]
    estimates = np.array([each.probability for study in studies for each in study.repetitions])
    error = estimates.std(ddof=1) / math.sqrt(len(estimates))
    # four standard errors of 80 repetitions; and that error itself small enough to mean something
    assert abs(estimates.mean() - exact) <= 4.0 * error
    assert error <= 0.2 * exact
    # plain sampling needs about 10 / p runs for a rate that is good to 30 %
    assert max(study.runs for study in studies) < 10.0 / exact


@pytest.mark.parametrize(("kind", "exact"), [(linear, 1e-4), (linear, 1e-6), (circle, 1e-5), (both, 1e-6)])
def test_the_interval_covers_as_often_as_it_says(kind, exact: float) -> None:
    covered = 0
    for seed in range(40):
        found = small_probability(kind(exact), D, 300, seed=seed)
        covered += found.low <= exact <= found.high
    # fewer than this happens by chance once in a hundred times if each covers with 95 %
    assert covered >= binom.ppf(0.01, 40, 0.95)


def test_the_same_seed_gives_the_same_numbers() -> None:
    first, second = (small_probability(linear(1e-3), D, 200, seed=9) for _ in range(2))
    assert first == second


def test_a_large_probability_is_plain_sampling() -> None:
    found = small_probability(linear(0.2), D, 1000)
    assert all(each.levels == 1 for each in found.repetitions)
    assert found.probability == pytest.approx(0.2, abs=0.02)  # five standard deviations of 10000 runs


def test_nothing_is_claimed_where_the_margin_is_level() -> None:
    found = small_probability(lambda z, numbers: np.ones(len(z)), D, 200)
    assert found.probability is None
    assert "level" in found.why


def test_nothing_is_claimed_where_nothing_ever_fails() -> None:
    found = small_probability(lambda z, numbers: 1.0 + np.exp(-z[:, 0]), D, 100, repetitions=2)
    assert found.probability is None
    assert found.low is found.high is None


def test_agrees_with_plain_sampling_where_both_can_see() -> None:
    # about one run in a hundred of the example travels further than 10.5 mm
    setting = prepare(load_lift(None).replace({"requirements.overtravel_mm": 10.5}))
    found = small_rates(setting, ["overtravel_mm"], 30_000)[0].found
    rows = run_many(setting, np.arange(10_000))
    failures = int((rows[:, RESULT_COLUMNS.index("overtravel_m")] > 0.0105).sum())
    low, high = interval(failures, 10_000)
    assert 40 < failures < 250
    assert found.low <= high
    assert found.high >= low


@pytest.mark.slow
def test_verify_tells_small_rates_only_for_what_no_run_failed(tmp_path, monkeypatch) -> None:
    import json

    from homing.cli import run

    monkeypatch.chdir(tmp_path)
    run(["verify", "--runs", "50", "--rare", "1000", "--json", "a.json", "--quiet"])
    document = json.loads((tmp_path / "a.json").read_text())
    unseen = [each["name"] for each in document["requirements"] if each["failures"] == 0]
    assert [each["requirement"] for each in document["small_probabilities"]] == unseen
    assert all(
        each["ci_low"] is None or each["ci_low"] <= each["ci_high"]
        for each in document["small_probabilities"]
    )
