"""Every metric of a run, checked against its trace or worked out by hand on a lift made for it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from liftfiles import REMOVED, lift_with
from runs import columns_with, made_with, phase_rows, readings, run_faulted, run_with, sensed

from homing.batches import batch
from homing.kernel.codes import Ended, Fault
from homing.liftfile import Lift
from homing.measures import metrics, outcomes
from homing.results import Outcome
from homing.setting import Setting, prepare
from homing.simulate import run_block

#: The example's loop and approach: one loop of coming in [mm].
LOOP_MM = 180 * 0.020
UNIPOLAR = {"sensor.switch": "unipolar", "sensor.operate_mt": 12, "sensor.release_mt": 7}
BELT = {"drive.kind": "belt", "drive.spool_diameter_mm": REMOVED, "drive.pulley_diameter_mm": 20}


@pytest.fixture(scope="module")
def unseen(steady_setting: Setting):  # type: ignore[no-untyped-def]
    """The example with its magnet lost on the way in: it runs into its stop and throws string."""
    return run_faulted(steady_setting, Fault.TARGET_DROPPED, onset_s=1.7)


def test_overtravel_is_how_far_the_spool_goes_past_the_trip(steady_setting: Setting) -> None:
    run = run_with(steady_setting)
    lowest_mm = run.trace["spool_mm"].min()
    assert run.metrics["overtravel_mm"] == pytest.approx(run.metrics["trip_mm"] - lowest_mm, abs=0.01)


def test_overtravel_goes_on_with_the_carriage_on_its_stop(unseen: Any) -> None:
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


def test_impact_is_the_speed_at_first_touch(unseen: Any) -> None:
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


def test_a_stuck_on_sensor_on_the_way_in_is_a_false_trigger_and_accepted(steady_setting: Setting) -> None:
    run = run_faulted(steady_setting, Fault.STUCK_ON, onset_s=2.5)
    assert run.trace["carriage_mm"][phase_rows(run, "stopping")[0]] > 150.0
    assert run.metrics["false_triggers"] == 1.0
    assert run.metrics["accepted_false_triggers"] == 1.0


def flicker_at(setting: Setting, height_mm: float, share: float = 1.0) -> Any:
    """Readings flicker to made within 0.5 mm of a height: a wire that reads made when broken."""
    place = {"fault_height_m": height_mm * 1e-3, "fault_span_m": 0.5e-3}
    return run_faulted(setting, Fault.HEIGHT_DROPOUT, share, wire_reads_made=1, **place)


def test_one_made_reading_while_lifting_is_false_but_not_accepted(steady_setting: Setting) -> None:
    # lifting at 30 mm/s takes 0.6 mm a loop: one or two readings; the way in, 3.6 mm a loop, misses it
    found = [flicker_at(steady_setting, height) for height in (330.0, 331.1, 332.3)]
    single = [run for run in found if readings(run)[phase_rows(run, "lifting")].sum() == 1]
    assert single
    for run in single:
        again = (
            readings(run)[phase_rows(run, "coming_in")]
            & (run.trace["carriage_mm"] > 100)[phase_rows(run, "coming_in")]
        )
        assert run.metrics["false_triggers"] == 1.0 + again.sum()
        assert run.metrics["accepted_false_triggers"] == again.sum()


def test_contiguous_made_readings_are_one_false_trigger(steady_setting: Setting) -> None:
    run = run_faulted(
        steady_setting,
        Fault.HEIGHT_DROPOUT,
        1.0,
        2.0,
        fault_height_m=0.2,
        fault_span_m=0.02,
        wire_reads_made=1,
    )
    outside = readings(run)[run.trace["carriage_mm"] > 100.0]
    assert outside.sum() > 1
    assert run.metrics["false_triggers"] == float((np.diff(outside, prepend=0) == 1).sum())
    # coming in and on both slow approaches it stops on them, and even zeroes there
    assert run.metrics["accepted_false_triggers"] == run.metrics["false_triggers"] == 3.0


def test_readings_carried_out_of_the_zone_by_the_sensors_own_delay_are_not_false(
    steady_setting: Setting,
) -> None:
    # it backs off with 30 mm/s; read 300 ms late, the sensor seems made up to 9 mm above its zone
    run = run_with(steady_setting, start_m=0.02, reading_lag=15, sensor_latency_s=0.3, read_before_s=0.0)
    above = run.trace["carriage_mm"] > steady_setting.zone_m[1] * 1e3
    assert readings(run)[above].sum() > 5
    assert run.metrics["false_triggers"] == 0.0


def test_a_flicker_that_the_routine_does_not_act_on_is_not_accepted(steady_setting: Setting) -> None:
    # flickers while it stands, before it has moved at all: it neither stops nor zeroes on them
    zone_mm, flickers = steady_setting.zone_m[1] * 1e3, 0.0
    for seed in range(12):
        run = flicker_at(prepare(steady_setting.lift, seed), 320.0, share=0.3)
        stopped = np.isin(run.trace["state"], ("stopping", "settling", "settling_again", "zeroed"))
        came_to_stand = np.flatnonzero(stopped[1:] & ~stopped[:-1])
        on_made = (readings(run) == 1) & (run.trace["carriage_mm"] > zone_mm)
        assert run.metrics["accepted_false_triggers"] == on_made[came_to_stand].sum()
        flickers += run.metrics["false_triggers"]
    assert flickers > 12.0


@pytest.fixture(scope="module")
def fast_over_a_narrow_window() -> Lift:
    """A small magnet passed at 600 mm/s, far above the stop, by a part that looks every 100 ms."""
    changes = {
        **UNIPOLAR,
        "sensor.magnet": {"shape": "disc", "diameter_mm": 6, "height_mm": 3, "grade": "N42"},
    }
    return lift_with(
        {**changes, "sensor.mount_mm": 150, "sensor.sample_period_ms": 100, "routine.fast_speed_mm_s": 600,
         "drive.gear_ratio": 10}
    )  # fmt: skip


def test_a_pass_between_two_samples_is_a_missed_trigger(fast_over_a_narrow_window: Lift) -> None:
    missed = [run_with(prepare(fast_over_a_narrow_window, seed)) for seed in range(6)]
    blind = [run for run in missed if not sensed(run).any()]
    assert blind  # a window of some 15 mm is passed in 25 of 100 ms: three quarters of the passes
    for run in blind:
        assert run.metrics["missed_triggers"] == 1.0


def test_a_pass_that_was_read_is_not_missed(fast_over_a_narrow_window: Lift) -> None:
    run = run_with(prepare(fast_over_a_narrow_window), sample_period_s=0.0, reading_lag=0)
    assert readings(run).any()
    assert run.metrics["missed_triggers"] == 0.0


def test_a_run_that_ends_in_the_window_unseen_has_missed_it(unseen: Any) -> None:
    assert unseen.metrics["missed_triggers"] == 1.0
    assert unseen.trace["carriage_mm"][-1] < unseen.metrics["trip_mm"]


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
