"""Every metric of a run, checked against its trace or worked out by hand on a lift made for it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from liftfiles import REMOVED, lift_with
from runs import columns_with, made_with, phase_rows, run_faulted, run_with

from homing.batches import batch
from homing.kernel.codes import Ended, Fault
from homing.liftfile import Lift
from homing.measures import metrics, outcomes
from homing.results import Outcome, Run
from homing.setting import Setting, prepare
from homing.simulate import run_block

UNIPOLAR = {"sensor.switch": "unipolar", "sensor.operate_mt": 12, "sensor.release_mt": 7}
BELT = {"drive.kind": "belt", "drive.spool_diameter_mm": REMOVED, "drive.pulley_diameter_mm": 20}


@pytest.fixture(scope="module")
def unseen(steady_setting: Setting) -> Run:
    """The steady lift with its magnet lost on the way in: it runs into its stop and throws string."""
    return run_faulted(steady_setting, Fault.TARGET_DROPPED, onset_s=1.7)


def test_overtravel_is_how_far_the_spool_goes_past_the_trip(steady_setting: Setting) -> None:
    run = run_with(steady_setting)
    lowest_mm = run.trace["spool_mm"].min()
    assert run.metrics["overtravel_mm"] == pytest.approx(run.metrics["trip_mm"] - lowest_mm, abs=0.01)


def test_overtravel_goes_on_with_the_carriage_on_its_stop(unseen: Run) -> None:
    lowest_mm = unseen.trace["spool_mm"].min()
    assert lowest_mm < -300.0
    assert unseen.metrics["overtravel_mm"] == pytest.approx(unseen.metrics["trip_mm"] - lowest_mm, abs=0.1)
    assert unseen.metrics["stop_distance_mm"] == pytest.approx(unseen.metrics["trip_mm"], abs=1.0)


def test_further_turns_after_a_reverse_wrap_count_on(steady_setting: Setting) -> None:
    run = run_faulted(steady_setting, Fault.TARGET_DROPPED, onset_s=1.7, spare_m=0.020)
    assert run.trace["carriage_mm"][-1] > 300.0  # wound on the wrong way round, it has lifted again
    lowest_mm = run.trace["spool_mm"].min()
    assert run.metrics["overtravel_mm"] == pytest.approx(run.metrics["trip_mm"] - lowest_mm, abs=0.1)


def test_below_the_trip_overtravel_counts_from_the_start(steady: Lift) -> None:
    # a heavy lift sinks by itself through open windings, from 20 mm, 12 mm under its trip
    lift = steady.replace({"lift.moving_mass_kg": 8.0, "drive.gear_ratio": 8, "routine.stop": "open"})
    run = run_with(prepare(lift), start_m=0.020, max_time_s=0.1)
    spool_mm = run.trace["spool_mm"]
    stretch_mm = 8.0 * 9.80665 / 12.0
    sunk_mm = 20.0 + stretch_mm - spool_mm.min()
    assert sunk_mm > 5.0
    assert run.metrics["overtravel_mm"] == pytest.approx(sunk_mm, abs=1e-6)


def test_a_lift_that_rests_on_its_stop_begins_without_overtravel(steady_setting: Setting) -> None:
    run = run_with(steady_setting, start_m=0.0)
    # the sensor is made at the start: it backs off, and only the creeping approach goes past the trip
    assert run.metrics["overtravel_mm"] < 1.0


@pytest.mark.parametrize("rigging", [1, 2, 4])
def test_slack_is_measured_in_string(rigging: int) -> None:
    changes = {
        **UNIPOLAR,
        "drive.travel_per_line": rigging,
        "drive.gear_ratio": 10 * rigging,
        "lift.start_mm": 100,
    }
    run = run_faulted(lift_with(changes), Fault.TARGET_DROPPED)
    thrown_mm = (run.trace["carriage_mm"] - run.trace["spool_mm"]).max()
    assert thrown_mm > 100.0
    # between two loops the largest may be a loop's travel higher, at most
    assert run.metrics["slack_mm"] == pytest.approx(thrown_mm / rigging, abs=150 * 0.020 / rigging)
    assert run.metrics["slack_mm"] >= thrown_mm / rigging


def test_slack_of_the_return_string_is_measured_in_string() -> None:
    changes = {
        **UNIPOLAR,
        "string.return_string": True,
        "string.return_slack_mm": 5,
        "drive.travel_per_line": 2,
    }
    run = run_with(lift_with(changes))
    # taut pull-up: the return string hangs by its own slack and by the stretch of the other, over two
    loose_mm = (run.trace["spool_mm"] - run.trace["carriage_mm"]).max() + 2 * 5.0
    assert run.metrics["return_slack_mm"] == pytest.approx(loose_mm / 2, abs=0.05)


def test_impact_is_the_speed_at_first_touch(unseen: Run) -> None:
    assert unseen.metrics["impact_speed_mm_s"] == pytest.approx(180.0, abs=0.01)


def test_without_a_touch_there_is_no_impact(steady_setting: Setting) -> None:
    assert run_with(steady_setting).metrics["impact_speed_mm_s"] == 0.0


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"string.stiffness_n_per_mm": 1.5},  # 8 mm of stretch at rest
        {"routine.creep_speed_mm_s": 90},
        {"routine.reference_mm": 20.0},
        {"controller.sensor_latency_ms": 45},
    ],
)
def test_zero_error_is_declared_height_minus_true_height(steady: Lift, changes: dict[str, Any]) -> None:
    lift = steady.replace(changes)
    run = run_with(prepare(lift))
    assert run.trace["state"][-1] == "zeroed"
    counts, mm_per_count = run.trace["counts"], lift.drive.mm_per_count
    # the edge is taken midway between the counts of the reading and those of the loop before
    edge = phase_rows(run, "creeping_again")[-1]
    edge_counts = (counts[edge] + counts[edge - 1]) / 2
    reference_mm = lift.routine.reference_mm or run.metrics["trip_mm"]
    declared_mm = reference_mm + (counts[-1] - edge_counts) * mm_per_count
    assert run.metrics["zero_error_mm"] == pytest.approx(declared_mm - run.trace["carriage_mm"][-1], abs=1e-3)


def test_the_string_counts_as_taut_when_the_zero_is_judged(steady: Lift) -> None:
    # on the stop with 6 mm of slack, declared height and true height differ by that slack, the zero not
    low = steady.replace({"sensor.bottom.mount_mm": -12, "routine.fast_speed_mm_s": 300})
    slack = run_with(prepare(low))
    assert slack.metrics["slack_mm"] > 5.0
    assert abs(slack.metrics["zero_error_mm"]) < 0.5


def test_time_to_zero_ends_when_zero_is_declared(steady_setting: Setting) -> None:
    run = run_with(steady_setting)
    last = phase_rows(run, "settling_again")[-1]
    assert run.metrics["time_to_zero_s"] == pytest.approx(run.trace["t_s"][last], abs=1e-12)
    assert run.trace["state"][last + 1] == "zeroed"


def test_peak_current_is_the_largest_at_the_battery(steady_setting: Setting) -> None:
    run = run_with(steady_setting, start_m=0.64)
    assert run.metrics["peak_current_a"] >= np.abs(run.trace["current_a"]).max()
    # the battery also feeds the rest of the robot
    assert run_with(steady_setting).metrics["peak_current_a"] > 1.0
    assert run.trace["current_a"].min() < 1.0  # lowering feeds back


def test_a_sensor_that_is_never_made_is_measured_from_a_healthy_trip() -> None:
    # from 3 to 25 mm of gap: far off, the magnet is not seen any more
    given = {**UNIPOLAR, "tolerances": {"sensor.bottom.gap_mm": {"low": 2.0, "high": 25.0}}}
    setting = prepare(lift_with(given))
    indices = np.arange(64)
    unseen = np.isnan(batch(setting, indices).sensor.trip_m)
    assert 10 < unseen.sum() < 60
    found = metrics(run_block(setting, indices), setting.lift)
    assert found["trip_mm"][unseen] == pytest.approx(np.full(unseen.sum(), setting.trip_m * 1e3))
    ran_in = unseen & (found["impact_speed_mm_s"] > 0.0)
    assert ran_in.any()
    assert found["stop_distance_mm"][ran_in] == pytest.approx(setting.trip_m * 1e3, abs=2.0)


def test_what_does_not_exist_is_nan_and_never_zero(steady_setting: Setting) -> None:
    stuck = run_faulted(
        steady_setting, Fault.STUCK_ON
    )  # leaves its start outwards, faults, never stops inwards
    assert stuck.outcome is not Outcome.ZEROED
    for name in ("time_to_zero_s", "stop_distance_mm", "overtravel_mm", "zero_error_mm", "return_slack_mm"):
        assert np.isnan(stuck.metrics[name]), name
    assert stuck.stops == ()
    assert stuck.budget_mm == {}


def test_a_belt_has_no_slack_of_string() -> None:
    run = run_with(lift_with({**UNIPOLAR, **BELT}))
    assert run.outcome is Outcome.ZEROED
    assert np.isnan(run.metrics["slack_mm"])
    assert np.isnan(run.metrics["return_slack_mm"])


def test_a_run_whose_time_is_over_is_unsafe(steady_setting: Setting) -> None:
    columns = columns_with(steady_setting, max_time_s=3.0)
    assert columns["ended"] == Ended.STILL_RUNNING
    assert run_with(steady_setting, max_time_s=3.0).outcome is Outcome.UNSAFE


@pytest.mark.parametrize("limit", ["overtravel_mm", "slack_mm", "impact_speed_mm_s", "zero_error_mm"])
def test_a_run_over_any_of_its_limits_is_unsafe(steady: Lift, limit: str) -> None:
    # a run with some of each: low sensor, so it bumps into its stop and still zeroes
    lift = steady.replace({"sensor.bottom.mount_mm": -12, "routine.fast_speed_mm_s": 300})
    generous = {
        f"requirements.{name}": 1e4
        for name in ("overtravel_mm", "slack_mm", "impact_speed_mm_s", "zero_error_mm")
    }
    calm = run_with(prepare(lift.replace(generous)))
    assert calm.outcome is Outcome.ZEROED
    size = abs(calm.metrics[limit])
    assert size > 0.0
    for share, outcome in ((0.99, Outcome.UNSAFE), (1.01, Outcome.ZEROED)):
        judged = run_with(prepare(lift.replace({**generous, f"requirements.{limit}": share * size})))
        assert judged.outcome is outcome


def test_a_run_that_faulted_within_its_limits_is_faulted(steady: Lift) -> None:
    held = prepare(steady.replace({"routine.timeout_s": 0.5}))
    results = run_block(held, np.arange(3))
    # shorted windings let this mast sink slowly: standing still, it would be 'faulted'
    results[:, 2] = 0.0
    assert (results[:, 0] == Ended.FAULTED).all()
    assert outcomes(results, held.lift).tolist() == [Outcome.FAULTED] * 3


def test_a_lift_still_moving_at_the_end_is_unsafe(steady: Lift) -> None:
    heavy = steady.replace({"lift.moving_mass_kg": 8.0, "drive.gear_ratio": 8, "routine.stop": "open"})
    made = made_with(prepare(heavy), max_time_s=0.1)
    assert made.runs[0].gravity_n > 70.0
    assert columns_with(prepare(heavy), max_time_s=0.1)["moving_at_end"] == 1.0
    assert run_with(prepare(heavy), max_time_s=0.1).outcome is Outcome.UNSAFE
