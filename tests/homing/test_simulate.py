"""One study set up, one run simulated: what is shared, what is refused, what a trace shows."""

from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest
from liftfiles import lift_with
from runs import phase_rows, readings, run_faulted, run_with, sensed

import homing
from homing.batches import batch, nominal_batch
from homing.draws import Start
from homing.kernel.codes import Fault
from homing.kernel.layout import RESULT_COLUMNS
from homing.liftfile import Lift
from homing.measures import metrics
from homing.results import METRICS, Outcome, Run
from homing.routine import Role
from homing.setting import Setting, prepare
from homing.simulate import nominal_run, run_block, simulate
from sensor_models.errors import InputError

TRACE_COLUMNS = (
    "t_s,state,command_fraction,counts,spool_mm,carriage_mm,carriage_mm_s,sensor_bottom,reading_bottom,"
    "current_a,battery_v,string_n,return_string_n,stop_n"
)


@pytest.fixture(scope="module")
def nominal(steady: Lift) -> Run:
    return simulate(steady)


def test_the_nominal_run_of_the_example_zeroes_within_its_limits(steady: Lift, nominal: Run) -> None:
    assert nominal.outcome is Outcome.ZEROED
    assert nominal.reason == ""
    assert (nominal.index, nominal.start) == (None, "nominal")
    assert tuple(nominal.metrics) == METRICS
    limits = steady.requirements
    for name in ("overtravel_mm", "slack_mm", "impact_speed_mm_s", "time_to_zero_s", "peak_current_a"):
        assert nominal.metrics[name] < 0.75 * getattr(limits, name), name


def test_it_takes_the_steps_that_the_routine_promises(nominal: Run) -> None:
    state = nominal.trace["state"]
    steps = [str(name) for i, name in enumerate(state) if i == 0 or name != state[i - 1]]
    again = ["leaving_again", "creeping_again", "settling_again"]
    first = ["waiting", "checking", "lifting", "coming_in", "stopping", "backing_off", "creeping", "settling"]
    assert steps == [*first, *again, "zeroed"]


def test_started_on_the_sensor_it_leaves_it_without_coming_in(steady_setting: Setting) -> None:
    state = run_with(steady_setting, start_m=0.02).trace["state"]
    assert "backing_off" in state
    assert "coming_in" not in state
    assert "lifting" not in state


def test_once_referenced_it_comes_in_at_once_and_slowly_near_the_end(steady: Lift) -> None:
    run = simulate(steady.replace({"routine.referenced_at_start": True}))
    state = set(run.trace["state"].tolist())
    assert "lifting" not in state
    assert "easing_in" in state
    slow = phase_rows(run, "easing_in")[10:]  # the first of them still brake
    assert run.trace["carriage_mm_s"][slow].min() == pytest.approx(-30.0, rel=0.01)


def test_a_trace_has_the_columns_of_the_contract_one_row_a_loop(nominal: Run) -> None:
    assert ",".join(nominal.trace.columns) == TRACE_COLUMNS
    assert {len(column) for column in nominal.trace.columns.values()} == {len(nominal.trace)}


def test_the_nominal_loop_is_exactly_periodic(nominal: Run) -> None:
    assert np.diff(nominal.trace["t_s"]) == pytest.approx(0.020, abs=1e-12)
    assert nominal.trace["t_s"][0] == pytest.approx(0.020)


def test_counts_are_the_spools_height_rounded_down(steady: Lift, nominal: Run) -> None:
    drive = steady.drive
    per_mm = (
        drive.encoder_counts_per_rev
        * drive.gear_ratio
        / (np.pi * drive.spool_diameter_mm * drive.travel_per_line)
    )
    floor = np.floor(nominal.trace["spool_mm"] * per_mm)
    assert np.abs(nominal.trace["counts"] - floor).max() <= 1.0  # rounding of spool_mm itself
    assert (nominal.trace["counts"] == floor).mean() > 0.99


def test_the_tick_order(steady_setting: Setting) -> None:
    """Sample, observe, choose, command: seen from outside in one stop."""
    run = run_with(steady_setting)
    t, state, carriage = run.trace["t_s"], run.trace["state"], run.trace["carriage_mm"]
    reacted = phase_rows(run, "coming_in")[-1]
    trip_s = t[reacted - 1] + (carriage[reacted - 1] - run.metrics["trip_mm"]) / 180.0
    # 1, 2: the reading of this loop is that of 2 ms before its end, and the trip came before that instant
    assert readings(run)[reacted] == 1
    assert readings(run)[reacted - 1] == 0
    assert t[reacted - 1] - 0.002 < trip_s <= t[reacted] - 0.002
    # 3, 4, 5: the very next loop runs in the next phase
    assert state[reacted + 1] == "stopping"
    # 6: the drive hears of it after its latency; until then the lift comes on with its full speed
    went_on_mm = [went_on_after_reacting(steady_setting, latency_s) for latency_s in (0.0, 0.003, 0.020)]
    assert went_on_mm[0] < went_on_mm[1] - 0.03 < went_on_mm[2] - 0.06
    assert went_on_mm[2] == pytest.approx(180.0 * 0.020, abs=1e-6)


def went_on_after_reacting(setting: Setting, drive_latency_s: float) -> float:
    """Travel in the first loop of ``stopping`` [mm]."""
    run = run_with(setting, drive_latency_s=drive_latency_s)
    reacted = phase_rows(run, "coming_in")[-1]
    return float(run.trace["carriage_mm"][reacted] - run.trace["carriage_mm"][reacted + 1])


def test_a_reading_of_several_loops_ago(steady_setting: Setting) -> None:
    run = run_with(steady_setting, sensor_latency_s=0.060, reading_lag=3, read_before_s=0.0)
    assert np.array_equal(readings(run)[3:], sensed(run)[:-3])


def test_outputs_between_the_thresholds_are_undefined_at_power_up(steady_setting: Setting) -> None:
    # a switch with hysteresis keeps what it had; powered up in between it may have either
    between_m = 0.5 * (steady_setting.trip_m + steady_setting.release_m)
    starts = [sensed(run_with(prepare(steady_setting.lift, s), start_m=between_m))[0] for s in range(16)]
    assert set(starts) == {0, 1}


def test_settings_are_refused_when_the_sensor_is_never_made() -> None:
    with pytest.raises(InputError) as error:
        prepare(lift_with({"sensor.gap_mm": 30}))
    text = str(error.value)
    assert "lift.toml, sensor.bottom is never made anywhere on the travel" in text
    assert "strongest flux density" in text
    assert "short by" in text


def test_the_trip_zone_holds_every_drawn_sensor(steady_setting: Setting) -> None:
    drawn = batch(steady_setting, np.arange(1000))
    low_m, high_m = steady_setting.zone_m
    assert low_m <= steady_setting.trip_m <= steady_setting.release_m <= high_m
    room_m = 0.2 * (high_m - low_m)  # the zone is found from 512 draws
    assert drawn.sensor.trip_m.max() < high_m
    assert drawn.sensor.trip_m.min() > low_m - room_m
    assert drawn.sensor.release_m.max() < high_m + room_m


def test_a_setting_can_be_sent_to_another_process(steady_setting: Setting) -> None:
    copy = pickle.loads(pickle.dumps(steady_setting))
    numbers = np.arange(8)
    assert run_block(copy, numbers).tobytes() == run_block(steady_setting, numbers).tobytes()


def test_a_run_knows_where_it_began(steady: Lift, steady_setting: Setting) -> None:
    drawn = batch(steady_setting, np.arange(30))
    for number in (int(np.flatnonzero(drawn.start_kind == kind)[0]) for kind in Start):
        run = simulate(steady, seed=3, run=number)
        assert run.start == Start(int(drawn.start_kind[number])).words
        assert run.index == number
        # 20 ms after power-up it has hardly moved
        assert run.trace["carriage_mm"][0] == pytest.approx(drawn.runs.start_m[number] * 1e3, abs=1.5)


def test_the_nominal_run_is_the_same_for_every_seed_but_what_chance_decides(steady: Lift) -> None:
    # nothing is drawn for it: no jitter, no sway; this sensor neither samples nor bounces
    first, second = simulate(steady, seed=1), simulate(steady, seed=2)
    assert first.metrics == pytest.approx(second.metrics, nan_ok=True, abs=0.0)


def test_nominal_run_and_simulate_are_the_same(steady: Lift, steady_setting: Setting) -> None:
    assert nominal_run(steady_setting).metrics == pytest.approx(
        simulate(steady, seed=3).metrics, nan_ok=True, abs=0.0
    )


def test_drawn_runs_have_late_loops_as_often_as_told(steady: Lift) -> None:
    lift = steady.replace({"controller.late_loop_probability": 0.05, "controller.late_loop_ms": 90})
    setting = prepare(lift)
    steps = np.concatenate([np.diff(simulate(lift, run=k, setting=setting).trace["t_s"]) for k in range(12)])
    late = steps > 0.060
    assert steps[late] == pytest.approx(0.090)
    assert late.mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / len(steps)))
    # jitter: 3 ms as standard deviation, never beyond three of them
    rest = steps[~late]
    assert rest.std() == pytest.approx(0.003, rel=0.05)
    assert np.abs(rest - 0.020).max() < 0.009


def test_jitter_ends_at_half_a_period(steady: Lift) -> None:
    lift = steady.replace({"controller.jitter_ms": 9.9, "controller.late_loop_probability": 0.0})
    steps = np.diff(simulate(lift, run=1).trace["t_s"])
    assert steps.min() == pytest.approx(0.010, abs=1e-9)
    assert steps.max() == pytest.approx(0.030, abs=1e-9)


def test_measured_periods_take_the_place_of_the_stated_ones(steady: Lift) -> None:
    measured_s = np.array([0.017, 0.021, 0.064])
    run = simulate(steady, run=4, periods_s=measured_s)
    steps = np.diff(run.trace["t_s"])
    counts = [int(np.isclose(steps, each, atol=1e-12).sum()) for each in measured_s]
    assert sum(counts) == len(steps)
    assert min(counts) > len(steps) / 6


def test_without_power_the_command_is_zero(steady_setting: Setting) -> None:
    run = run_faulted(steady_setting, Fault.STUCK_ON)  # faults, then its windings are shorted
    rows = phase_rows(run, "faulted")[1:]
    assert steady_setting.table.phase("faulted").role is Role.FAULTED
    assert len(rows) > 10
    assert set(run.trace["command_fraction"][rows].tolist()) == {0.0}


def test_metrics_turn_si_columns_into_the_contracts_units(steady: Lift) -> None:
    row = np.arange(1.0, 1.0 + len(RESULT_COLUMNS))[None, :]
    column = dict(zip(RESULT_COLUMNS, row[0].tolist(), strict=True))
    found = {name: float(values[0]) for name, values in metrics(row, steady).items()}
    assert found["overtravel_mm"] == pytest.approx(column["overtravel_m"] * 1e3)
    assert found["slack_mm"] == pytest.approx(column["slack_m"] * 1e3 / 2)  # two millimetres of travel a line
    assert found["time_to_zero_s"] == column["time_to_zero_s"]
    assert found["peak_current_a"] == column["peak_current_a"]
    assert np.isnan(found["return_slack_mm"])


@pytest.mark.parametrize("name", ["verify", "simulate"])
def test_the_package_offers_functions_where_modules_have_the_same_name(name: str) -> None:
    import importlib

    module = importlib.import_module(f"homing.{name}")
    function: Any = getattr(homing, name)
    assert callable(function)
    assert function is getattr(module, name)


def test_start_and_end_of_a_batch_do_not_matter(steady_setting: Setting) -> None:
    both = run_block(steady_setting, np.array([5, 9]))
    assert np.array_equal(both[1], run_block(steady_setting, np.array([9]))[0], equal_nan=True)
    assert np.isnan(nominal_batch(steady_setting).runs.fault_size).sum() == 0
