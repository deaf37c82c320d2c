"""From a lift file to the kernel's record: every conversion worked out by hand for one lift."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from liftfiles import REMOVED, lift_with

from homing.kernel.codes import Coupling, Mode, Order
from homing.lift import fill_lift, new_runs
from homing.settings import routine_settings, stop_order
from homing.words import StopKind

#: A lift whose every number is given, so that nothing here hangs on a default.
GIVEN: dict[str, Any] = {
    "lift.incline_deg": 30,
    "lift.moving_mass_kg": 2.0,
    "lift.weight_n": 20.0,
    "lift.friction_n": 4.0,
    "lift.static_friction_n": 6.0,
    "lift.viscous_n_s_per_m": 7.0,
    "lift.start_mm": 300,
    "drive.motor": REMOVED,
    "drive.motors": 2,
    "drive.motor_free_speed_rpm": 6000,
    "drive.motor_stall_torque_nm": 0.18,
    "drive.motor_stall_current_a": 9.25,
    "drive.motor_free_current_a": 0.25,
    "drive.nominal_voltage_v": 12.0,
    "drive.rotor_inertia_kg_m2": 9.0e-6,
    "drive.gear_ratio": 20,
    "drive.gear_efficiency": 0.8,
    "drive.spool_diameter_mm": 40,
    "drive.travel_per_line": 2,
    "drive.encoder_counts_per_rev": 28,
    "drive.speed_loop_time_constant_ms": 50,
    "drive.acceleration_mm_s2": 2500,
    "drive.deceleration_mm_s2": 4000,
    "drive.current_limit_a": 20,
    "string.stiffness_n_per_mm": 12.0,
    "string.damping_n_s_per_m": 20.0,
    "string.spare_line_mm": 100,
    "string.return_slack_mm": 4,
    "string.return_preload_n": 3,
    "string.return_stiffness_n_per_mm": 0.8,
    "string.return_take_up_mm": 15,
    "stop.stiffness_n_per_mm": 60,
    "battery.open_circuit_v": 13.0,
    "battery.resistance_ohm": 0.12,
    "battery.other_load_a": 1.0,
    "controller.jitter_ms": 3,
    "controller.late_loop_probability": 0.0005,
    "controller.late_loop_ms": 120,
    "controller.sensor_latency_ms": 2,
    "controller.drive_latency_ms": 3,
    "routine.settle_ms": 120,
}
#: Carriage travel of one turn of the spool [m], and motor shaft angle per carriage travel [rad/m].
TURN_M = math.pi * 0.040 * 2
RATIO = 2 * math.pi * 20 / TURN_M


def record(changes: dict[str, Any] | None = None, values: dict[str, Any] | None = None, runs: int = 1) -> Any:
    made = new_runs(runs)
    fill_lift(made, lift_with({**GIVEN, **(changes or {})}), values or {})
    return made if runs > 1 else made[0]


def test_carriage() -> None:
    run = record()
    assert run.mass_kg == 2.0
    assert run.gravity_n == pytest.approx(10.0, rel=1e-12)  # 20 N at 30 degrees
    assert (run.friction_n, run.static_friction_n, run.viscous_n_s_per_m) == (4.0, 6.0, 7.0)
    assert (run.travel_m, run.start_m) == (0.64, 0.3)
    assert run.stop_n_per_m == 60e3


def test_a_level_lift_has_no_weight_along_its_travel() -> None:
    assert record({"lift.incline_deg": 0, "string.return_string": True}).gravity_n == 0.0


def test_motor_lines_from_the_four_numbers_of_a_data_sheet() -> None:
    run = record()
    # resistance 12 V / 9.25 A; emf (12 V - 0.25 A R) at 628.3 rad/s; torque 0.18 Nm at 9 A above free current
    resistance = 12.0 / 9.25
    assert run.resistance_ohm == pytest.approx(resistance, rel=1e-12)
    assert run.back_emf_v_s == pytest.approx((12.0 - 0.25 * resistance) / (200 * math.pi), rel=1e-12)
    assert run.force_n_per_a == pytest.approx(2 * 0.02 * RATIO, rel=1e-12)
    assert run.motor_friction_n == pytest.approx(2 * 0.02 * 0.25 * RATIO, rel=1e-12)


def test_rotors_weigh_by_the_square_of_the_gear() -> None:
    run = record()
    assert run.ratio_rad_per_m == pytest.approx(RATIO, rel=1e-12)
    assert run.spool_mass_kg == pytest.approx(2 * 9e-6 * RATIO**2, rel=1e-12)


def test_three_motors_pull_three_times_as_hard_and_share_the_current_limit() -> None:
    one, three = record({"drive.motors": 1}), record({"drive.motors": 3})
    assert three.force_n_per_a == pytest.approx(3 * one.force_n_per_a, rel=1e-12)
    assert three.spool_mass_kg == pytest.approx(3 * one.spool_mass_kg, rel=1e-12)
    assert (one.current_limit_a, three.current_limit_a) == (20.0, pytest.approx(20.0 / 3))


def test_the_speed_loop_has_both_poles_at_its_time_constant() -> None:
    # (m + M) u' = K (kp (r - u) + z), z' = ki (r - u): characteristic p^2 + K kp/(m+M) p + K ki/(m+M)
    run = record()
    inertia = run.mass_kg + run.spool_mass_kg
    damping = run.force_n_per_a * run.loop_a_s_per_m / inertia
    stiffness = run.force_n_per_a * run.loop_a_per_m / inertia
    assert np.roots([1.0, damping, stiffness]) == pytest.approx([-20.0, -20.0], rel=1e-6)


def test_a_duty_is_what_the_motor_line_needs_for_speed_and_load() -> None:
    run = record({"drive.command": "duty"})
    assert run.command == Mode.DUTY
    # lifting: 10 N + 4 N over the gear's efficiency, the motors' own friction, then emf and viscous friction
    volt_per_n = run.resistance_ohm / run.force_n_per_a
    emf = run.back_emf_v_s * run.ratio_rad_per_m
    assert run.duty_out * 12 == pytest.approx(volt_per_n * (14 / 0.8 + run.motor_friction_n), rel=1e-12)
    assert run.duty_out_s_per_m * 12 == pytest.approx(emf + volt_per_n * 7 / 0.8, rel=1e-12)
    # lowering: 10 N - 4 N still pull, helped by the gear's losses
    assert run.duty_in * 12 == pytest.approx(volt_per_n * (0.8 * 6 - run.motor_friction_n), rel=1e-12)
    assert run.duty_in_s_per_m * 12 == pytest.approx(emf + volt_per_n * 0.8 * 7, rel=1e-12)


def test_a_program_does_not_know_the_drawn_lift() -> None:
    drawn = {"lift.moving_mass_kg": np.array([3.0]), "battery.open_circuit_v": np.array([11.0])}
    duty = {"drive.command": "duty", "lift.weight_n": REMOVED}
    assert record(duty, drawn).duty_out == record(duty).duty_out


def test_counts_on_the_motor_and_on_the_spool() -> None:
    assert record().counts_per_m == pytest.approx(28 * 20 / TURN_M, rel=1e-12)
    assert record({"drive.encoder_on": "spool"}).counts_per_m == pytest.approx(28 / TURN_M, rel=1e-12)


def test_string_lengths_count_at_the_carriage() -> None:
    run = record({"string.return_string": True})
    assert run.coupling == Coupling.STRING
    assert (run.pull_n_per_m, run.pull_n_s_per_m) == (12e3, 20.0)
    assert run.spare_m == pytest.approx(0.2)  # 100 mm of line are 200 mm of carriage
    assert run.return_slack_m == pytest.approx(0.008)
    assert (run.return_n_per_m, run.return_preload_n, run.take_up_m) == (800.0, 3.0, 0.015)


def test_without_a_return_string_nothing_pulls_back() -> None:
    assert record().return_n_per_m == 0.0


@pytest.mark.parametrize(
    ("kind", "length", "turn_m"),
    [("belt", "pulley_diameter_mm", math.pi * 0.020), ("lead_screw", "lead_mm", 0.020)],
)
def test_belt_and_screw_have_backlash_instead_of_string(kind: str, length: str, turn_m: float) -> None:
    given = {key: value for key, value in GIVEN.items() if not key.startswith("string.")}
    given |= {"drive.kind": kind, "drive.spool_diameter_mm": REMOVED, f"drive.{length}": 20}
    given |= {"drive.backlash_mm": 0.3, "drive.stiffness_n_per_mm": 40.0, "drive.travel_per_line": 1}
    lift = lift_with(given)
    runs = new_runs(1)
    fill_lift(runs, lift, {})
    assert runs[0].coupling == Coupling[kind.upper()]
    assert runs[0].backlash_m == pytest.approx(0.0003)
    assert runs[0].pull_n_per_m == 40e3
    assert runs[0].ratio_rad_per_m == pytest.approx(2 * math.pi * 20 / turn_m, rel=1e-12)


def test_times_of_the_controller() -> None:
    run = record()
    assert (run.period_s, run.jitter_s, run.late_s) == pytest.approx((0.020, 0.003, 0.120))
    assert run.late_probability == 0.0005
    assert (run.drive_latency_s, run.settle_s) == pytest.approx((0.003, 0.120))


@pytest.mark.parametrize(
    ("latency_ms", "lag", "before_s"), [(2, 0, 0.002), (20, 1, 0.0), (45, 2, 0.005), (0, 0, 0.0)]
)
def test_a_latency_of_whole_loops_is_a_lag_and_the_rest_an_earlier_instant(
    latency_ms: float, lag: int, before_s: float
) -> None:
    run = record({"controller.sensor_latency_ms": latency_ms})
    assert run.reading_lag == lag
    assert run.read_before_s == pytest.approx(before_s, abs=1e-15)


def test_drawn_values_fill_one_run_each() -> None:
    values = {"lift.moving_mass_kg": np.array([1.0, 3.0]), "drive.gear_efficiency": np.array([0.7, 0.9])}
    runs = record(values=values, runs=2)
    assert runs.mass_kg.tolist() == [1.0, 3.0]
    assert runs.efficiency.tolist() == [0.7, 0.9]
    assert runs.friction_n.tolist() == [4.0, 4.0]


def test_a_weight_that_was_not_given_follows_the_drawn_mass() -> None:
    drawn = {"lift.moving_mass_kg": np.array([3.0])}
    assert record({"lift.weight_n": REMOVED}, drawn).gravity_n == pytest.approx(3 * 9.80665 / 2, rel=1e-12)
    assert record(values=drawn).gravity_n == pytest.approx(10.0, rel=1e-12)  # given: it stays


def test_friction_at_rest_goes_along_with_the_drawn_one() -> None:
    drawn = {"lift.friction_n": np.array([8.0])}
    assert record(values=drawn).static_friction_n == pytest.approx(12.0)  # 6 for 4
    both = {**drawn, "lift.static_friction_n": np.array([9.0])}
    assert record(values=both).static_friction_n == 9.0


def test_new_runs_carry_no_fault() -> None:
    run = new_runs(1)[0]
    assert run.fault == 0
    assert run.fault_onset_s > 1e200
    assert run.fault_height_m < -1e5


@pytest.mark.parametrize(
    ("kind", "order"),
    [(StopKind.HOLD, Order.HOLD), (StopKind.SHORTED, Order.SHORTED), (StopKind.OPEN, Order.OPEN)],
)
def test_a_stop_of_the_file_is_an_order_of_the_kernel(kind: StopKind, order: Order) -> None:
    assert stop_order(kind) is order


def test_settings_of_the_routine_are_in_si() -> None:
    lift = lift_with(
        {
            **GIVEN,
            "routine.fast_speed_mm_s": 250,
            "routine.creep_speed_mm_s": 30,
            "routine.slow_zone_mm": 90,
            "routine.back_off_mm": 12,
            "routine.recheck_tolerance_mm": 1.5,
            "routine.stop": "shorted",
            "drive.when_off": "open",
        }
    )
    settings = routine_settings(lift, (0.025, 0.040), 0.030, stall_sensor=False)
    assert (settings.fast_m_s, settings.creep_m_s, settings.slow_zone_m) == (0.25, 0.03, 0.09)
    assert (settings.stop, settings.when_off) == (Order.SHORTED, Order.OPEN)
    # room for guards around the zone: back-off and tolerance of the check
    assert settings.made_below_m == pytest.approx(0.040 + 0.0135)
    assert settings.seen_above_m == pytest.approx(0.025 - 0.0135)
    # twice the free speed: 6000 rpm / 20 on 251.3 mm a turn
    assert settings.possible_speed_m_s == pytest.approx(2 * 100 / 20 * TURN_M, rel=1e-12)


def test_below_a_trip_under_the_zone_the_sensor_must_have_been_made() -> None:
    settings = routine_settings(lift_with(GIVEN), (0.025, 0.040), 0.020, stall_sensor=False)
    room_m = settings.back_off_m + settings.recheck_tolerance_m
    assert settings.seen_above_m == pytest.approx(0.020 - room_m)
