"""Where the millimetres of a stop go: delays by hand at constant speed, and sums in every kind of run.

At constant speed v each delay of t seconds costs exactly v t of string; the instants are read from the
trace, independently of the kernel's own book-keeping.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from runs import phase_rows, run_faulted, run_with

from homing.faults import FaultPlan, run_numbers
from homing.kernel.codes import Fault
from homing.kernel.layout import RESULT_COLUMNS, STOP_COLUMNS
from homing.kernel.watch import room_for_stop
from homing.liftfile import Lift
from homing.results import BUDGET_PARTS, Run, Stop
from homing.setting import Setting, prepare
from homing.simulate import run_block

#: The steady lift comes in with 180 mm/s; its loop takes 20 ms, its sensor 2 ms, its drive 3 ms.
V_MM_S, PERIOD_S, SENSOR_S, DRIVE_S = 180.0, 0.020, 0.002, 0.003
#: Settling of the drive's loop and of string oscillation leave less than this at the trip [mm].
EXACT_MM = 1e-6


@dataclass(frozen=True)
class Passing:
    """When the carriage passed the trip height on its fast approach, and what followed [s]."""

    trip_s: float
    react_s: float
    loop_start_s: float


def passing(run: Run, phase: str = "coming_in", speed_mm_s: float = V_MM_S) -> Passing:
    """Read the instants from the trace: the speed is constant until the drive hears of the stop."""
    t, x = run.trace["t_s"], run.trace["carriage_mm"]
    rows = np.flatnonzero(run.trace["state"] == phase)
    last = rows[x[rows] > run.metrics["trip_mm"]][-1]
    # creeping, it still swings on its string by a few hundredths of a per cent
    assert run.trace["carriage_mm_s"][last] == pytest.approx(
        -speed_mm_s, rel=1e-6 if speed_mm_s > 100 else 1e-3
    )
    trip_s = float(t[last] + (x[last] - run.metrics["trip_mm"]) / speed_mm_s)
    return Passing(trip_s, float(t[rows[-1]]), float(t[rows[-1] - 1]))


def first_stop(run: Run) -> Stop:
    return run.stops[0]


def assert_parts(run: Run, **expected_mm: float) -> None:
    budget = first_stop(run).budget_mm
    found = {part: budget[part] for part in expected_mm}
    assert found == pytest.approx(expected_mm, abs=EXACT_MM)


def test_parts_come_in_the_order_in_which_they_are_spent(steady_setting: Setting) -> None:
    stop = first_stop(run_with(steady_setting))
    parts = "sensor_age reading_delay loop_wait late_loop drive_delay braking string"
    assert " ".join(stop.budget_mm) == " ".join(BUDGET_PARTS) == parts


def test_delays_cost_speed_times_time(steady_setting: Setting) -> None:
    run = run_with(steady_setting)
    at = passing(run)
    assert_parts(
        run,
        sensor_age=0.0,  # the part follows the field at once
        reading_delay=V_MM_S * SENSOR_S,
        loop_wait=V_MM_S * (at.react_s - at.trip_s - SENSOR_S),
        late_loop=0.0,
        drive_delay=V_MM_S * DRIVE_S,
    )
    assert 0.0 <= first_stop(run).budget_mm["loop_wait"] <= V_MM_S * PERIOD_S


@pytest.mark.parametrize("drive_s", [0.0, 0.003, 0.019, 0.045])
def test_the_drives_latency_may_be_longer_than_a_loop(steady_setting: Setting, drive_s: float) -> None:
    assert_parts(run_with(steady_setting, drive_latency_s=drive_s), drive_delay=V_MM_S * drive_s)


@pytest.mark.parametrize(
    ("latency_s", "lag", "before_s"), [(0.0, 0, 0.0), (0.020, 1, 0.0), (0.045, 2, 0.005)]
)
def test_a_reading_may_be_several_loops_old(
    steady_setting: Setting, latency_s: float, lag: int, before_s: float
) -> None:
    run = run_with(steady_setting, sensor_latency_s=latency_s, reading_lag=lag, read_before_s=before_s)
    at = passing(run)
    wait_s = at.react_s - at.trip_s - latency_s
    assert_parts(run, reading_delay=V_MM_S * latency_s, loop_wait=V_MM_S * wait_s)
    assert 0.0 <= wait_s <= PERIOD_S


@pytest.mark.parametrize("above_mm", [1.0, 9.0], ids=["trip in its regular part", "trip in its late part"])
def test_a_late_loop_costs_what_it_overruns(steady_setting: Setting, above_mm: float) -> None:
    late_s = 0.100
    height_m = steady_setting.trip_m + above_mm * 1e-3
    run = run_faulted(steady_setting, Fault.LATE_LOOP, late_s, fault_height_m=height_m)
    at = passing(run)
    assert at.react_s - at.loop_start_s == pytest.approx(late_s)
    seen_s, due_s = at.trip_s + SENSOR_S, at.loop_start_s + PERIOD_S
    assert (seen_s < due_s) == (above_mm == 1.0)
    assert_parts(
        run,
        loop_wait=V_MM_S * max(0.0, due_s - seen_s),
        late_loop=V_MM_S * (at.react_s - max(due_s, seen_s)),
    )


def test_a_late_loop_that_is_over_before_the_trip_costs_nothing(steady_setting: Setting) -> None:
    height_m = steady_setting.trip_m + 0.030
    run = run_faulted(steady_setting, Fault.LATE_LOOP, 0.1, fault_height_m=height_m)
    assert np.diff(run.trace["t_s"]).max() == pytest.approx(0.1)
    assert_parts(run, late_loop=0.0)


def test_a_trip_that_a_late_loop_reads_too_early_waits_an_ordinary_loop(steady_setting: Setting) -> None:
    # the late loop ends 1 ms after the trip, its reading is 2 ms older: the next loop, in time, stops it
    usual = run_with(steady_setting)
    at, start = passing(usual), phase_rows(usual, "coming_in")[-8]
    late_s = at.trip_s + 0.001 - float(usual.trace["t_s"][start])
    height_m = float(usual.trace["carriage_mm"][start]) * 1e-3 + 1e-5
    run = run_faulted(steady_setting, Fault.LATE_LOOP, late_s, fault_height_m=height_m)
    again = passing(run)
    assert again.react_s == pytest.approx(again.trip_s + 0.001 + PERIOD_S)
    assert_parts(run, loop_wait=V_MM_S * (again.react_s - again.trip_s - SENSOR_S), late_loop=0.0)


def test_a_sampling_part_is_up_to_one_of_its_periods_old(steady_setting: Setting) -> None:
    sample_s = 0.050
    ages = []
    for seed in range(12):
        run = run_with(prepare(steady_setting.lift, seed), sample_period_s=sample_s)
        budget, at = first_stop(run).budget_mm, passing(run)
        age_s = budget["sensor_age"] / V_MM_S
        # what is left of the time from trip to reaction is the controller's
        assert_parts(run, loop_wait=V_MM_S * (at.react_s - at.trip_s - age_s - SENSOR_S))
        ages.append(age_s)
    assert min(ages) >= -1e-12
    assert max(ages) <= sample_s
    # the phase of its clock is drawn: twelve ages lie all in one half less often than once in a thousand
    assert min(ages) < 0.5 * sample_s < max(ages)


def test_a_sampling_part_changes_at_its_own_beat_only(steady_setting: Setting) -> None:
    sample_s = 0.050
    run = run_with(steady_setting, sample_period_s=sample_s)
    instants = []
    for stop, phase, speed in zip(
        run.stops, ("coming_in", "creeping", "creeping_again"), (180, 30, 30), strict=True
    ):
        instants.append(passing(run, phase, speed).trip_s + stop.budget_mm["sensor_age"] / speed)
    beats = (np.array(instants) - instants[0]) / sample_s
    assert beats == pytest.approx(np.round(beats), abs=1e-3)


def test_noise_may_trip_the_sensor_before_its_height_and_the_age_is_never_negative(
    steady_setting: Setting,
) -> None:
    setting = steady_setting
    noisy = [run_with(prepare(setting.lift, seed), noise=2e-3, sample_period_s=1e-3) for seed in range(6)]
    for run in noisy:
        assert all(stop.budget_mm["sensor_age"] >= -EXACT_MM for stop in run.stops)


def test_a_stop_nobody_ordered_has_no_delays(steady: Lift) -> None:
    # started inside the window with open windings, a heavy lift sinks through the trip by itself
    lift = steady.replace({"lift.moving_mass_kg": 8.0, "routine.stop": "open", "drive.gear_ratio": 8})
    setting = prepare(lift)
    run = run_with(setting, start_m=setting.trip_m + 0.001)
    budget = first_stop(run).budget_mm
    for part in BUDGET_PARTS[:5]:
        assert budget[part] == pytest.approx(0.0, abs=1e-9), part
    assert budget["braking"] > 5.0


@pytest.mark.parametrize("fault", [None, FaultPlan()], ids=["healthy", "faulty"])
def test_the_parts_of_the_longest_stop_sum_to_its_distance_in_drawn_runs(
    steady_setting: Setting, fault: FaultPlan | None
) -> None:
    numbers = np.arange(400) if fault is None else run_numbers(steady_setting.lift, 16)
    results = run_block(steady_setting, numbers, fault)
    first = RESULT_COLUMNS.index("sensor_age")
    distance = results[:, RESULT_COLUMNS.index("stop_distance_m")]
    stopped = ~np.isnan(distance)
    assert stopped.sum() > 200
    parts = results[stopped, first : first + len(BUDGET_PARTS)]
    assert parts.sum(axis=1) == pytest.approx(distance[stopped], abs=1e-12)
    assert distance[stopped].min() > 0.0


@pytest.mark.parametrize(
    ("lift", "fields"),
    [
        ({}, {}),
        ({}, {"late_probability": 0.3, "jitter_s": 0.003}),
        ({}, {"sample_period_s": 0.05, "noise": 1e-3}),
        # a sensor so low that the lift runs into its stop, bounces and throws string
        ({"sensor.bottom.mount_mm": -12, "routine.fast_speed_mm_s": 300, "stop.restitution": 0.8}, {}),
        ({"routine.stop": "open"}, {}),
        ({"drive.command": "duty", "routine.stop": "shorted", "routine.creep_speed_mm_s": 90}, {}),
    ],
    ids=["plain", "late loops", "sampled", "bounce and slack", "coasting", "power command"],
)
def test_the_parts_of_every_stop_sum_to_its_distance(
    steady: Lift, lift: dict[str, Any], fields: dict[str, float]
) -> None:
    run = run_with(prepare(steady.replace(lift)), **fields)
    assert len(run.stops) >= 2
    for stop in run.stops:
        assert sum(stop.budget_mm.values()) == pytest.approx(stop.distance_mm, abs=1e-9)
        assert stop.distance_mm == pytest.approx(stop.trip_mm - stop.deepest_mm, abs=1e-9)
    longest = max(run.stops, key=lambda stop: stop.distance_mm)
    assert run.metrics["stop_distance_mm"] == pytest.approx(longest.distance_mm, abs=1e-9)
    assert run.budget_mm == longest.budget_mm


def test_a_full_list_of_stops_keeps_the_longest() -> None:
    stops = np.zeros((3, STOP_COLUMNS))
    for count, distance_m in enumerate([0.02, 0.01, 0.03, 0.005, 0.015]):
        place = room_for_stop(count, stops, distance_m)
        if place >= 0:
            stops[place, 2] = distance_m
    assert sorted(stops[:, 2].tolist()) == [0.015, 0.02, 0.03]
