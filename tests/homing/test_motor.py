from __future__ import annotations

import math

import numpy as np
import pytest

from homing.motor import Motor

RPM = math.pi / 30.0
SMALL = Motor(
    free_speed_rad_per_s=6000 * RPM,
    stall_torque_nm=0.17,
    stall_current_a=9.2,
    free_current_a=0.25,
    nominal_v=12.0,
)


def test_both_lines_pass_through_the_four_numbers_of_the_sheet() -> None:
    assert SMALL.current_a(12.0, 0.0) == pytest.approx(9.2)
    assert SMALL.current_a(12.0, 6000 * RPM) == pytest.approx(0.25)
    assert SMALL.shaft_torque_nm(12.0, 0.0) == pytest.approx(0.17)
    assert SMALL.shaft_torque_nm(12.0, 6000 * RPM) == pytest.approx(0.0, abs=1e-15)


def test_half_way_along_the_line_is_the_peak_power() -> None:
    speeds = np.linspace(0, 6000 * RPM, 10001)
    power = SMALL.shaft_torque_nm(12.0, speeds) * speeds
    assert power.max() == pytest.approx(SMALL.peak_power_w)
    assert speeds[power.argmax()] == pytest.approx(3000 * RPM)


def test_ideal_motor_has_no_mismatch() -> None:
    # electrical power less copper loss must leave as air-gap power: kt = ke
    ke = 12.0 / (6000 * RPM) * (1 - 0.25 / 9.2)
    ideal = Motor(
        free_speed_rad_per_s=6000 * RPM,
        stall_torque_nm=ke * (9.2 - 0.25),
        stall_current_a=9.2,
        free_current_a=0.25,
        nominal_v=12.0,
    )
    assert ideal.mismatch == pytest.approx(0.0, abs=1e-12)


def test_free_speed_goes_with_voltage_less_friction() -> None:
    speed = (6.0 - SMALL.resistance_ohm * 0.25) / SMALL.emf_v_s_per_rad
    assert SMALL.shaft_torque_nm(6.0, speed) == pytest.approx(0.0, abs=1e-12)


def test_fields_may_be_arrays() -> None:
    many = Motor(
        free_speed_rad_per_s=np.array([500.0, 600.0]),
        stall_torque_nm=0.2,
        stall_current_a=np.array([9.0, 10.0]),
        free_current_a=0.3,
        nominal_v=12.0,
    )
    for name in (
        "resistance_ohm",
        "emf_v_s_per_rad",
        "torque_nm_per_a",
        "friction_nm",
        "mismatch",
        "peak_power_w",
    ):
        assert np.shape(getattr(many, name)) == (2,), name
    one = Motor(
        free_speed_rad_per_s=600.0,
        stall_torque_nm=0.2,
        stall_current_a=10.0,
        free_current_a=0.3,
        nominal_v=12.0,
    )
    assert many.mismatch[1] == one.mismatch
