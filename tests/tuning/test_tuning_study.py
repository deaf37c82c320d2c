"""Tuning as a whole: from a bad start to settings that hold on runs which had no part in finding them."""

from __future__ import annotations

from typing import Any

import numpy as np
from tuningcases import BAD, example_text, lift_of

import homing
from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.requirements import judge
from homing.setting import prepare
from homing.tuning.results import Stopped, Tuning
from homing.tuning.study import enough_runs, tune
from homing.tuning.trials import Trials, pool_of


def test_a_bad_start_is_mended_and_holds_on_yet_another_seed(mended: Tuning) -> None:
    assert mended.found
    assert not mended.before.passed
    assert mended.after.passed
    lift = mended.after.lift
    setting = prepare(lift, seed=98765)
    indices = np.arange(1000, dtype=np.int64)
    ensemble = as_ensemble(setting, indices, run_many(setting, indices))
    assert all(result.passed for result in judge(lift, nominal_ensemble(setting), ensemble))


def test_before_and_after_are_the_same_fresh_runs(mended: Tuning) -> None:
    before, after = mended.before, mended.after
    assert before.seed == after.seed != mended.seed
    assert len(before.ensemble) == len(after.ensemble) == mended.runs == 1000
    assert (before.ensemble.start == after.ensemble.start).all()
    assert before.lift.routine == mended.lift.routine
    assert {key: getattr(after.lift.routine, key) for key in mended.settings} == dict(mended.settings)
    assert [name for name, _ in before.faults] == [name for name, _ in after.faults]
    assert after.unsafe_share < before.unsafe_share


def test_the_front_rises_and_ends_at_the_chosen_point(mended: Tuning) -> None:
    times = [point.time_to_zero_s for point in mended.front]
    margins = [point.margin for point in mended.front]
    assert times == sorted(times)
    assert margins == sorted(margins)
    assert margins[0] >= 0.0
    assert mended.chosen in mended.front
    assert mended.chosen.margin >= margins[-1] - 0.02
    assert mended.after.point.settings == mended.chosen.settings


def test_the_active_requirement_has_the_least_margin(mended: Tuning) -> None:
    from homing.tuning.margins import margin_of

    told = {result.name: margin_of(result, 0.01) for result in mended.after.requirements}
    moved = {name: margin for name, margin in told.items() if name not in mended.fixed}
    assert min(moved, key=lambda name: moved[name]) == mended.after.point.active
    assert mended.after.point.margin == min(moved.values())
    assert {"accepted_false_triggers", "moving_at_end"} <= set(mended.fixed)


def test_a_drift_holds_to_its_end_and_fails_beyond(mended: Tuning) -> None:
    from homing.tuning.margins import worst_margin

    assert {each.key for each in mended.drift} == set(mended.settings)
    setting = prepare(mended.after.lift, mended.after.seed)
    with pool_of(None, 1) as pool:
        trials = Trials(setting, (), np.arange(64, dtype=np.int64), pool, fixed=())

        def margin(key: str, value: float) -> float:
            ((results, _),) = trials.judged([{key: value}])
            return worst_margin(results, 0.01)[0]

        for each in mended.drift:
            assert each.low.value <= each.value <= each.high.value
            if each.key in ("fast_speed_mm_s", "timeout_s"):
                assert margin(each.key, each.low.value) >= 0.0
            if each.key == "fast_speed_mm_s":
                # half a step of the last bisection beyond what held, at most, it fails
                assert each.high.blocks in {"overtravel_mm", "impact_speed_mm_s", "zero_error_mm"}
                assert margin(each.key, each.high.value) >= 0.0
                assert margin(each.key, 3.0 * each.value) < 0.0
    drift = {each.key: each for each in mended.drift}
    assert drift["timeout_s"].low.blocks == "time_to_zero_s"
    assert drift["timeout_s"].high.blocks == ""


def test_nothing_meets_an_impossible_requirement(missed: Tuning) -> None:
    assert not missed.found
    assert missed.front == ()
    assert missed.drift == ()
    assert missed.blocking is not None
    assert missed.blocking.name == "time_to_zero_s"
    assert not missed.after.passed


def told(tuning: Tuning) -> tuple[Any, ...]:
    return (
        tuning.settings,
        tuning.trials,
        tuning.front,
        tuning.evaluations,
        tuning.after.requirements,
        tuning.drift,
    )


def test_the_same_evaluations_give_the_same_result_for_any_workers(short: None) -> None:
    lift = lift_of(example_text(BAD))
    one = tune(lift, runs=300, evaluations=12, workers=1)
    two = tune(lift, runs=300, evaluations=12, workers=3)
    assert repr(told(one)) == repr(told(two))
    assert one.stopped is Stopped.EVALUATIONS
    other = tune(lift, runs=300, evaluations=12, seed=1)
    assert other.trials != one.trials


def test_more_time_only_goes_further(short: None) -> None:
    lift = lift_of(example_text())
    ticks: list[int] = []
    timed = tune(lift, runs=300, seconds=1e-9, progress=lambda what, done, of: ticks.append(done))
    assert timed.stopped is Stopped.TIME
    # the file's own settings are the first trial, so that the search never ends below where it began
    assert timed.trials[0][1] > 0.0
    assert timed.searched_margin >= 0.0
    same = tune(lift, runs=300, evaluations=timed.evaluations)
    assert repr(told(same)) == repr(told(timed))
    assert ticks


def test_an_interruption_gives_the_best_so_far_confirmed(short: None) -> None:
    seen = []

    def impatient(what: str, done: int, of: int) -> None:
        seen.append(what)
        if seen.count("searching (trials)") == 2:
            seen.append("searching (trials)")
            raise KeyboardInterrupt

    tuning = tune(lift_of(example_text()), runs=300, evaluations=10**6, progress=impatient)
    assert tuning.stopped is Stopped.INTERRUPTED
    assert len(tuning.after.ensemble) >= 598
    assert tuning.found is tuning.after.passed
    assert seen[-1] != "searching (trials)"


def test_runs_are_raised_where_the_allowed_rate_needs_them() -> None:
    strict = lift_of(example_text({"allowed_failure_rate = 0.01": "allowed_failure_rate = 0.004"}))
    # ln 0.05 / ln 0.996 = 747.4: 748 runs without a failure show 0.004, twice as many leave room
    assert enough_runs(strict, 300) == 2 * 748
    assert enough_runs(strict, 5000) == 5000
    # a million runs would be needed: as asked, and the verdict says that they are too few
    hopeless = strict.replace({"requirements.allowed_failure_rate": 1e-6})
    assert enough_runs(hopeless, 2000) == 2000


def test_it_is_public() -> None:
    assert homing.tune is tune
