"""The pass rule: the nominal run within its limit, and the exact upper bound of the failure rate allowed.

Ensembles here are made up, so that every count is known.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from liftfiles import REMOVED, lift_with
from runs import STEADY

from homing.assembly import assemble
from homing.liftfile import Lift
from homing.requirements import REQUIREMENTS, judge, requirements_for
from homing.results import METRICS, Ensemble, RequirementResult

#: Limits of the lift below, whose file states each of them.
LIMITS = {
    "overtravel_mm": 15.0,
    "impact_speed_mm_s": 80.0,
    "slack_mm": 8.0,
    "zero_error_mm": 2.0,
    "time_to_zero_s": 11.0,
    "accepted_false_triggers": 0,
    "peak_current_a": 20.0,
}
LIFT = assemble({**STEADY, "requirements": LIMITS}, "steady.toml")
#: A run that keeps every limit.
GOOD = {
    "overtravel_mm": 7.0,
    "impact_speed_mm_s": 0.0,
    "slack_mm": 0.1,
    "zero_error_mm": 0.4,
    "time_to_zero_s": 6.0,
    "accepted_false_triggers": 0.0,
    "peak_current_a": 3.0,
}


def made_up(runs: int = 1, moving: Any = 0, **columns: Any) -> Ensemble:
    """An ensemble of good runs with some columns given: a number, or one a run."""
    metrics = {name: np.full(runs, GOOD.get(name, np.nan)) for name in METRICS}
    for name, values in columns.items():
        metrics[name] = np.broadcast_to(np.asarray(values, dtype=np.float64), (runs,)).copy()
    nothing = np.zeros(runs, dtype=np.int8)
    standing = np.broadcast_to(np.asarray(moving, dtype=bool), (runs,)).copy()
    return Ensemble(0, metrics, nothing, nothing, nothing, standing)


def result(
    name: str, ensemble: Ensemble, nominal: Ensemble | None = None, lift: Lift = LIFT
) -> RequirementResult:
    judged = judge(lift, made_up() if nominal is None else nominal, ensemble)
    return next(each for each in judged if each.name == name)


def some_fail(runs: int, failures: int, good: float = 7.0, bad: float = 16.0) -> np.ndarray:
    values = np.full(runs, good)
    values[:failures] = bad
    return values


def test_the_requirements_are_those_of_the_contract_and_standing_still() -> None:
    assert [each.name for each in REQUIREMENTS] == [*LIMITS, "moving_at_end"]
    assert [each.name for each in judge(LIFT, made_up(), made_up(300))] == [*LIMITS, "moving_at_end"]


def test_limits_come_from_the_lift_file() -> None:
    judged = judge(LIFT, made_up(), made_up(300))
    assert {each.name: each.limit for each in judged} == {**LIMITS, "moving_at_end": 0.0}


def test_good_runs_pass_everything() -> None:
    judged = judge(LIFT, made_up(), made_up(300))
    assert all(each.passed for each in judged)
    assert {each.why for each in judged} == {""}


@pytest.mark.parametrize(("runs", "passed"), [(298, False), (299, True)])
def test_299_runs_without_a_failure_show_one_per_cent_and_298_do_not(runs: int, passed: bool) -> None:
    # 0.99^299 = 0.0495, 0.99^298 = 0.0500...: the contract's own number
    found = result("overtravel_mm", made_up(runs))
    assert found.passed is passed
    assert (found.failures, found.runs) == (0, runs)
    assert ("too few" in found.why) is not passed
    if not passed:
        assert "at least 299" in found.why
        assert found.ci_high > 0.01


# one-sided 95 % upper bound of Clopper and Pearson at most 0.01: fewest runs for 0, 1, 2, 3 failures.
# The quality engineers' table for 99 % reliability at 95 % confidence; from memory: 299, 473, 628, 773.
@pytest.mark.parametrize(("failures", "runs"), [(0, 299), (1, 473), (2, 628), (3, 773)])
def test_the_fewest_runs_that_show_one_per_cent(failures: int, runs: int) -> None:
    enough = result("overtravel_mm", made_up(runs, overtravel_mm=some_fail(runs, failures)))
    short = result("overtravel_mm", made_up(runs - 1, overtravel_mm=some_fail(runs - 1, failures)))
    assert (enough.passed, short.passed) == (True, False)
    assert enough.failures == failures


def test_the_bounds_are_one_sided_and_exact() -> None:
    found = result("overtravel_mm", made_up(2000, overtravel_mm=some_fail(2000, 3)))
    assert found.failure_probability == 0.0015
    assert found.confidence == 0.95
    # a binomial with these rates gives at most 3, or at least 3, failures in 2000 with 5 %
    from scipy.stats import binom

    assert binom.cdf(3, 2000, found.ci_high) == pytest.approx(0.05, rel=1e-9)
    assert binom.sf(2, 2000, found.ci_low) == pytest.approx(0.05, rel=1e-9)


def test_too_many_failures_are_told_with_their_rate() -> None:
    found = result("overtravel_mm", made_up(2000, overtravel_mm=some_fail(2000, 30)))
    assert not found.passed
    assert found.why.startswith("30 of 2000 runs fail")
    assert "allowed is 1.00%" in found.why


def test_the_nominal_run_alone_can_fail_a_requirement() -> None:
    found = result("overtravel_mm", made_up(2000), nominal=made_up(overtravel_mm=15.1))
    assert not found.passed
    assert found.failures == 0
    assert "nominal" in found.why


def test_a_metric_at_its_limit_keeps_it() -> None:
    found = result("overtravel_mm", made_up(300, overtravel_mm=15.0), nominal=made_up(overtravel_mm=15.0))
    assert found.passed
    assert found.margin == 0.0


def test_a_zero_error_counts_either_way() -> None:
    found = result("zero_error_mm", made_up(300, zero_error_mm=some_fail(300, 5, 0.1, -2.5)))
    assert found.failures == 5
    assert found.worst == 2.5


def test_a_run_that_never_zeroes_fails_the_time_to_zero_and_nothing_else() -> None:
    faulted = some_fail(1000, 4, 6.0, np.nan)
    missing = some_fail(1000, 4, 0.4, np.nan)
    ensemble = made_up(1000, time_to_zero_s=faulted, zero_error_mm=missing, overtravel_mm=missing)
    assert result("time_to_zero_s", ensemble).failures == 4
    assert result("zero_error_mm", ensemble).failures == 0
    assert result("overtravel_mm", ensemble).failures == 0


def test_the_worst_run_is_the_one_to_reproduce() -> None:
    over = np.full(300, 7.0)
    over[123] = 14.0
    found = result("overtravel_mm", made_up(300, overtravel_mm=over))
    assert (found.worst_run, found.worst) == (123, 14.0)
    never = np.full(300, 6.0)
    never[200], never[17] = np.nan, 10.9
    found = result("time_to_zero_s", made_up(300, time_to_zero_s=never))
    assert found.worst_run == 200  # never is worse than late
    assert np.isnan(found.worst)


def test_a_metric_that_no_run_has_is_no_failure_and_has_no_worst_run() -> None:
    found = result("overtravel_mm", made_up(300, overtravel_mm=np.nan))
    assert (found.failures, found.worst_run) == (0, None)
    assert np.isnan(found.median)


def test_quantiles_and_margin() -> None:
    found = result("overtravel_mm", made_up(1000, overtravel_mm=np.arange(1000) / 100.0))
    assert (found.median, found.p95, found.p99) == (4.99, 9.49, 9.89)
    assert found.margin == pytest.approx(15.0 - 9.89)


def test_a_lift_that_still_moves_at_the_end_fails() -> None:
    assert not result("moving_at_end", made_up(300, moving=np.arange(300) < 1)).passed
    assert not result("moving_at_end", made_up(300), nominal=made_up(moving=True)).passed


def test_slack_does_not_exist_for_a_belt() -> None:
    belt = lift_with(
        {"drive.kind": "belt", "drive.spool_diameter_mm": REMOVED, "drive.pulley_diameter_mm": 20}
    )
    assert "slack_mm" not in [each.name for each in requirements_for(belt)]
    assert "slack_mm" in [each.name for each in requirements_for(lift_with({"string.return_string": True}))]


def test_a_smaller_allowed_rate_needs_more_runs() -> None:
    strict = assemble({**STEADY, "requirements": {**LIMITS, "allowed_failure_rate": 0.001}}, "strict.toml")
    found = result("overtravel_mm", made_up(2000), lift=strict)
    assert not found.passed
    assert "at least 2995" in found.why  # ln 0.05 / ln 0.999 = 2994.2


@given(
    values=st.lists(st.floats(0.0, 40.0), min_size=299, max_size=320),
    nominal=st.floats(0.0, 40.0),
    limits=st.tuples(st.floats(0.1, 40.0), st.floats(0.1, 40.0)),
    name=st.sampled_from(["overtravel_mm", "slack_mm", "zero_error_mm", "time_to_zero_s", "peak_current_a"]),
)
def test_a_looser_limit_never_turns_pass_into_fail(
    values: list[float], nominal: float, limits: tuple[float, float], name: str
) -> None:
    tight, loose = (
        result(
            name,
            made_up(len(values), **{name: values}),
            made_up(**{name: nominal}),
            replace(LIFT, requirements=LIFT.requirements.model_copy(update={name: limit})),
        )
        for limit in sorted(limits)
    )
    assert loose.passed or not tight.passed
    assert loose.failures <= tight.failures
    assert loose.ci_high <= tight.ci_high


@given(st.integers(0, 400), st.integers(0, 20))
def test_more_failures_never_help(runs: int, failures: int) -> None:
    total = runs + 300
    fewer = result("overtravel_mm", made_up(total, overtravel_mm=some_fail(total, failures)))
    more = result("overtravel_mm", made_up(total, overtravel_mm=some_fail(total, failures + 1)))
    assert fewer.passed or not more.passed
    assert fewer.ci_high < more.ci_high
    assert fewer.ci_low < more.ci_low
