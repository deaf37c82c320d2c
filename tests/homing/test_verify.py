"""The whole study: its parts fit together, and its numbers can be found again."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from runs import STEADY

from homing.assembly import assemble
from homing.ensemble import BLOCK_RUNS
from homing.faults import FAULT_RUNS, FaultPlan, faults_for, run_numbers
from homing.liftfile import Lift
from homing.measures import metrics
from homing.results import FaultResult, Outcome, Verification
from homing.setting import prepare
from homing.simulate import run_block, simulate
from homing.verify import coverage, verify
from sensor_models.errors import InputError

#: Enough for four late loops at the trip, of which the example has one in a thousand runs.
RUNS = 1000


@pytest.fixture(scope="module")
def told() -> list[tuple[str, int, int]]:
    return []


@pytest.fixture(scope="module")
def passing(example: Lift, told: list[tuple[str, int, int]]) -> Verification:
    return verify(example, runs=RUNS, progress=lambda *news: told.append(news))


def test_the_example_passes_with_margins(passing: Verification) -> None:
    assert passing.verdict == "pass"
    assert passing.advice == ()
    for each in passing.requirements:
        assert each.passed, each.why
        if each.limit > 0.0:
            assert each.margin > 0.1 * each.limit, each.name


def test_worst_runs_are_those_that_the_requirements_name(example: Lift, passing: Verification) -> None:
    named = {each.worst_run for each in passing.requirements}
    assert 1 <= len(passing.worst_runs) <= 3
    for run in passing.worst_runs:
        assert run.index in named
        assert len(run.trace) > 50
        again = simulate(example, seed=0, run=run.index)
        assert again.metrics == pytest.approx(run.metrics, abs=0.0, nan_ok=True)


def test_the_worst_value_is_that_of_the_worst_run(example: Lift, passing: Verification) -> None:
    for each in passing.requirements:
        if each.name != "moving_at_end" and each.worst_run is not None:
            alone = simulate(example, seed=0, run=each.worst_run)
            assert abs(alone.metrics[each.name]) == each.worst, each.name


def test_nominal_and_ensemble_belong_to_the_seed(example: Lift, passing: Verification) -> None:
    assert passing.seed == passing.ensemble.seed == passing.nominal.seed == 0
    assert len(passing.ensemble) == RUNS
    assert passing.nominal.index is None
    errors = passing.ensemble.metrics["zero_error_mm"]
    assert passing.zero_scatter_mm == pytest.approx(np.std(errors[~np.isnan(errors)], ddof=1))


def test_every_fault_of_the_lift_is_judged_over_its_runs(example: Lift, passing: Verification) -> None:
    assert [fault.fault for fault in passing.faults] == [kind.name for kind in faults_for(example)]
    assert len(passing.faults) >= 20
    for fault in passing.faults:
        assert fault.runs == FAULT_RUNS >= 64
        assert sum(fault.shares.values()) == pytest.approx(1.0)
        assert fault.detected == (fault.shares["unsafe"] == 0.0)
        worst = max((outcome for outcome in Outcome if fault.shares[outcome.word] > 0.0), key=int)
        assert fault.outcome is worst
        assert fault.unguarded_unsafe_now_faulted <= fault.unguarded_unsafe <= fault.runs


def test_figures_of_a_fault_are_the_worst_of_its_runs(example: Lift, passing: Verification) -> None:
    place = [fault.fault for fault in passing.faults].index("late loop of 100 ms")
    numbers = run_numbers(example)[place * FAULT_RUNS : (place + 1) * FAULT_RUNS]
    found = metrics(run_block(prepare(example), numbers, FaultPlan()), example)
    fault = passing.faults[place]
    assert fault.overtravel_mm == np.nanmax(found["overtravel_mm"])
    assert fault.slack_mm == np.nanmax(found["slack_mm"])
    assert fault.zero_error_mm == np.nanmax(np.abs(found["zero_error_mm"]))


def test_what_it_assumed_and_warns_of_is_handed_on(example: Lift, passing: Verification) -> None:
    assert passing.assumed == example.assumed
    assert passing.notes == example.notes
    assert len(passing.cautions) >= 5
    assert passing.sensor is not None
    assert passing.sensor.name == example.routine.sensor


def test_progress_names_what_is_being_done(passing: Verification, told: list[tuple[str, int, int]]) -> None:
    names = list(dict.fromkeys(what for what, _, _ in told))
    assert names == ["tolerances", "faults", "faults without guards"]
    ends = {what: (done, of) for what, done, of in told}
    assert ends["tolerances"] == (RUNS, RUNS)
    assert ends["faults"] == ends["faults without guards"] == (FAULT_RUNS * len(passing.faults),) * 2


@pytest.fixture
def punctual(example: Lift) -> Lift:
    """The example without late loops: nothing ever fails."""
    return example.replace({"controller.late_loop_probability": 0.0})


def test_too_few_runs_fail_and_say_so(punctual: Lift, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("homing.advice.advise", lambda *args: "")
    found = verify(punctual, runs=298)
    assert found.verdict == "fail"
    assert all("too few" in each.why for each in found.requirements)
    assert all(each.failures == 0 for each in found.requirements)


def test_the_advice_for_too_few_runs_is_more_runs(punctual: Lift, monkeypatch: pytest.MonkeyPatch) -> None:
    # slowing the lift down would be found to help: with the 600 runs of a trial anything good does
    monkeypatch.setattr("homing.advice.advise", lambda *args: "Slow to 175 mm/s.")
    (sentence,) = verify(punctual, runs=298).advice
    assert "299" in sentence
    assert "mm/s" not in sentence


class Counted(ThreadPoolExecutor):
    """Counts what it is given."""

    def __init__(self) -> None:
        super().__init__(2)
        self.given = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.given += 1
        return super().submit(fn, *args, **kwargs)


def test_everything_goes_through_the_executor_that_was_passed_in(
    example: Lift, passing: Verification
) -> None:
    with Counted() as pool:
        found = verify(example, runs=RUNS, executor=pool)
    blocks = -(-RUNS // BLOCK_RUNS) + 2 * -(-FAULT_RUNS * len(found.faults) // BLOCK_RUNS)
    assert pool.given == blocks
    # as text, since figures that do not exist are NaN
    assert repr(found.faults) == repr(passing.faults)
    assert repr(found.requirements) == repr(passing.requirements)


def test_another_seed_finds_other_numbers(example: Lift, passing: Verification) -> None:
    other = verify(example, runs=300, seed=1)
    assert other.requirements[0].worst != passing.requirements[0].worst


def test_measured_periods_reach_the_ensemble(example: Lift, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("homing.advice.advise", lambda *args: "")
    # a controller that now and then takes 150 ms overruns often
    slow = np.array([0.020] * 30 + [0.150])
    found = verify(example, runs=300, periods_s=slow)
    overtravel = next(each for each in found.requirements if each.name == "overtravel_mm")
    assert overtravel.failures > 5
    assert found.verdict == "fail"


def test_a_fault_rate_must_name_a_fault(example: Lift) -> None:
    wrong = assemble({**STEADY, "fault_rates": {"sensor stuck of": 1.0}}, "rates.toml")
    with pytest.raises(InputError, match="sensor stuck off"):
        verify(wrong, runs=10)


# ---------------------------------------------------------------- diagnostic coverage, by hand


def fault(name: str, unguarded: int, faulted: int, runs: int = 64) -> FaultResult:
    nothing = {"zeroed": 0.0, "faulted": 0.0, "unsafe": 0.0}
    return FaultResult(name, "", Outcome.UNSAFE, False, nothing, 0.0, 0.0, 0.0, "", unguarded, faulted, runs)


FAKES = (fault("stuck", 64, 48), fault("broken", 32, 8), fault("harmless", 0, 0))


def test_coverage_is_the_share_of_dangerous_runs_that_end_faulted() -> None:
    # of 64 + 32 runs unsafe without guards, 48 + 8 are caught with them
    assert coverage(FAKES, {}) == pytest.approx(56 / 96)


def test_rates_weigh_the_faults() -> None:
    assert coverage(FAKES, {"stuck": 1.0, "broken": 3.0}) == pytest.approx((48 + 3 * 8) / (64 + 3 * 32))
    assert coverage(FAKES, {"broken": 5.0}) == pytest.approx(0.25)  # a fault without a rate does not count


def test_faults_weigh_alike_whatever_their_number_of_runs() -> None:
    twice = (replace(FAKES[0], unguarded_unsafe=128, unguarded_unsafe_now_faulted=96, runs=128), *FAKES[1:])
    assert coverage(twice, {}) == pytest.approx(56 / 96)


def test_without_danger_there_is_no_coverage() -> None:
    assert coverage(FAKES[2:], {}) is None
    assert coverage(FAKES, {"harmless": 1.0}) is None


def test_coverage_of_the_study_follows_from_its_faults(passing: Verification) -> None:
    unsafe = sum(each.unguarded_unsafe for each in passing.faults)
    caught = sum(each.unguarded_unsafe_now_faulted for each in passing.faults)
    assert passing.diagnostic_coverage == pytest.approx(caught / unsafe)
    # the guards are worth something: a good part of what would be unsafe is caught
    assert passing.diagnostic_coverage is not None
    assert passing.diagnostic_coverage > 0.3
