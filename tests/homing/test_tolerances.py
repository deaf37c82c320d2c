"""Tolerances: the three forms of the file, spreads of data sheets, and what is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from liftfiles import REMOVED, SENSORS, lift_with

from homing.tolerances import Tolerance, follow
from sensor_models.errors import InputError


def only(forms: dict[str, Any], changes: dict[str, Any] | None = None) -> dict[str, Tolerance]:
    """Tolerances of the smallest lift with a plain remanence, so that no data sheet adds one."""
    plain = {"sensor.magnet": {"shape": "disc", "diameter_mm": 10, "height_mm": 3, "remanence_t": 1.3}}
    lift = lift_with(plain | (changes or {}) | {"tolerances": forms})
    return {tolerance.key: tolerance for tolerance in lift.tolerances}


def refusal(forms: dict[str, Any]) -> str:
    with pytest.raises(InputError) as caught:
        only(forms)
    assert str(caught.value).startswith("lift.toml, tolerances.")
    return str(caught.value)


@pytest.mark.parametrize(
    ("form", "low", "high"),
    [
        (0.5, 3.5, 4.5),
        (1, 3.0, 5.0),
        ("30%", 2.8, 5.2),
        ("12.5 %", 3.5, 4.5),
        ({"low": 3, "high": 7}, 3.0, 7.0),
        ({"low": 4.0, "high": 5.0}, 4.0, 5.0),
    ],
)
def test_the_three_forms(form: object, low: float, high: float) -> None:
    tolerance = only({"lift.friction_n": form}, {"lift.friction_n": 4.0})["lift.friction_n"]
    assert (tolerance.low, tolerance.high) == pytest.approx((low, high))
    assert tolerance.origin == "lift file"


@settings(deadline=None)
@given(half=st.floats(1e-6, 600.0, allow_nan=False))
def test_a_half_width_comes_back_from_the_bounds(half: float) -> None:
    tolerance = only({"lift.viscous_n_s_per_m": half}, {"lift.viscous_n_s_per_m": 700.0})[
        "lift.viscous_n_s_per_m"
    ]
    assert (tolerance.high - tolerance.low) / 2 == pytest.approx(half, rel=1e-6)
    assert (tolerance.high + tolerance.low) / 2 == pytest.approx(700.0)


@settings(deadline=None)
@given(low=st.floats(0.1, 700.0), span=st.floats(1e-3, 500.0), share=st.floats(0.0, 1.0))
def test_bounds_come_back_as_given(low: float, span: float, share: float) -> None:
    high = low + span
    nominal = min(max(low + share * span, low), high)
    forms = {"lift.viscous_n_s_per_m": {"low": low, "high": high}}
    tolerance = only(forms, {"lift.viscous_n_s_per_m": nominal})["lift.viscous_n_s_per_m"]
    assert (tolerance.low, tolerance.high) == (low, high)


@settings(deadline=None)
@given(percent=st.floats(0.01, 99.0), nominal=st.floats(0.01, 1e4))
def test_a_share_is_of_the_nominal_value(percent: float, nominal: float) -> None:
    forms = {"lift.viscous_n_s_per_m": f"{percent:.6f}%"}
    tolerance = only(forms, {"lift.viscous_n_s_per_m": nominal})["lift.viscous_n_s_per_m"]
    assert tolerance.high / nominal - 1 == pytest.approx(percent / 100, abs=1e-8)
    assert 1 - tolerance.low / nominal == pytest.approx(percent / 100, abs=1e-8)


@pytest.mark.parametrize(
    ("forms", "said"),
    [
        ({"lift.fricton_n": 1}, 'is not a numeric key of this lift (did you mean "lift.friction_n"?)'),
        ({"friction_n": 1}, "is not a numeric key of this lift"),
        ({"sensor.top.gap_mm": 1}, 'did you mean "sensor.bottom.gap_mm"?'),
        ({"drive.kind": 1}, "is not a numeric key of this lift"),
        ({"lift.friction_n": 0}, "a half-width of 0 leaves nothing to vary"),
        ({"lift.friction_n": "0%"}, "a share of 4 leaves nothing to vary"),
        ({"sensor.bottom.side_offset_mm": "30%"}, "a share of 0 leaves nothing to vary"),
        ({"lift.friction_n": -1}, "must be a half-width above 0"),
        ({"lift.friction_n": True}, "must be a half-width above 0"),
        ({"lift.friction_n": float("nan")}, "must be a half-width above 0"),
        ({"lift.friction_n": float("inf")}, "must be a half-width above 0"),
        ({"lift.friction_n": "30"}, 'a share such as "30%"'),
        ({"lift.friction_n": "-30%"}, 'a share such as "30%"'),
        ({"lift.friction_n": [3, 5]}, "or {low, high}; got [3, 5]"),
        ({"lift.friction_n": {"low": 3}}, "must have two numbers, low and high"),
        ({"lift.friction_n": {"low": 3, "high": 5, "typ": 4}}, "must have two numbers, low and high"),
        ({"lift.friction_n": {"low": 3, "high": True}}, "must have two numbers, low and high"),
        ({"lift.friction_n": {"low": 5, "high": 3}}, "must have low below high"),
        ({"lift.friction_n": {"low": 5, "high": 6}}, "must hold the nominal value, 4"),
        ({"lift.friction_n": 4.1}, "reaches -0.1, which the lift cannot have: lift.friction_n must be"),
        ({"sensor.bottom.mount_mm": 630}, "reaches 650, which the lift cannot have: sensor.bottom.mount_mm"),
        ({"drive.gear_efficiency": 0.3}, "reaches 1.1, which the lift cannot have"),
        ({"sensor.bottom.release_mt": 1.5}, "reaches 3, which the lift cannot have: sensor.bottom"),
        ({"drive.motors": 1}, "a whole number has no tolerance"),
        ({"requirements.overtravel_mm": 1}, "a limit has no tolerance"),
        ({"lift": {"friction_n": 1}}, 'a key with dots stands in quotes: "lift.friction_n"'),
    ],
)  # fmt: skip
def test_what_is_refused(forms: dict[str, Any], said: str) -> None:
    assert said in refusal(forms)


def test_friction_may_vary_about_a_higher_static_friction() -> None:
    assert only({"lift.friction_n": "50%"}, {"lift.friction_n": 4.0, "lift.static_friction_n": 5.0})


def test_the_spread_of_a_grade_is_a_tolerance() -> None:
    tolerances = {each.key: each for each in lift_with().tolerances}
    remanence = tolerances["sensor.bottom.magnet.remanence_t"]
    # N42: chinamagnetfactory.com/magnet-standards
    assert (remanence.low, remanence.high) == (1.28, 1.32)
    assert "chinamagnetfactory" in remanence.origin


def test_the_spread_of_a_part_is_a_tolerance_with_its_data_sheet() -> None:
    sensor = {"part": "hall-omnipolar-3mt-20hz", "mount_mm": 20}
    tolerances = {each.key: each for each in lift_with({"sensor": [sensor]}).tolerances}
    # DRV5032 FA, SLVSDC7H section 6.5 and 6.6
    assert (tolerances["sensor.bottom.operate_mt"].low, tolerances["sensor.bottom.operate_mt"].high) == (
        1.5,
        4.8,
    )
    assert (
        tolerances["sensor.bottom.sample_period_ms"].low,
        tolerances["sensor.bottom.sample_period_ms"].high,
    ) == (27, 75)
    assert "SLVSDC7H" in tolerances["sensor.bottom.operate_mt"].origin


def test_a_tolerance_of_the_file_wins_over_a_data_sheet() -> None:
    changes = {"sensor": [{"part": "hall-omnipolar-3mt-20hz", "mount_mm": 20}]}
    lift = lift_with(changes | {"tolerances": {"sensor.bottom.operate_mt": 0.1}})
    operate = next(each for each in lift.tolerances if each.key == "sensor.bottom.operate_mt")
    assert (operate.low, operate.high, operate.origin) == pytest.approx((2.9, 3.1, "lift file"))


def test_remanence_may_be_named_without_the_magnet() -> None:
    assert "sensor.bottom.magnet.remanence_t" in only({"sensor.bottom.remanence_t": "3%"})


def test_release_follows_operate_unless_it_has_a_tolerance_of_its_own() -> None:
    spread = {"sensor.operate_mt": [1.5, 3.0, 4.8], "sensor.release_mt": [0.5, 1.5, 3.0]}
    assert "sensor.bottom.release_mt" not in only({}, spread)
    assert "sensor.bottom.release_mt" in only({"sensor.bottom.release_mt": 0.2}, spread)
    assert "sensor.bottom.release_mt" in only({}, spread | {"sensor.hysteresis_min_mt": 0.8})


def test_release_follows_along_its_own_spread() -> None:
    lift = lift_with({"sensor.operate_mt": [1.5, 3.0, 4.8], "sensor.release_mt": [0.5, 1.5, 3.0]})
    released = follow(lift.sensor(), np.array([1.5, 2.25, 3.0, 4.8, 5.0]))
    assert released == pytest.approx([0.5, 1.0, 1.5, 3.0, 3.2])


@settings(deadline=None)
@given(operate=st.floats(0.1, 50.0))
def test_a_release_that_follows_stays_below_operate(operate: float) -> None:
    for changes in ({}, {"sensor.operate_mt": [1.5, 3.0, 4.8], "sensor.release_mt": [0.5, 1.5, 3.0]}):
        assert follow(lift_with(changes).sensor(), operate) < operate


def test_tolerances_stand_in_the_order_of_the_keys() -> None:
    forms = {"sensor.bottom.gap_mm": 1.0, "battery.open_circuit_v": 0.8, "lift.friction_n": "30%"}
    assert list(only(forms)) == ["lift.friction_n", "battery.open_circuit_v", "sensor.bottom.gap_mm"]


def test_a_lift_without_a_motor_part_takes_motor_tolerances() -> None:
    own = {
        "drive.motor": REMOVED,
        "drive.motor_free_speed_rpm": 6000,
        "drive.motor_stall_torque_nm": 0.17,
        "drive.motor_stall_current_a": 9.2,
    }
    assert "drive.motor_stall_torque_nm" in only({"drive.motor_stall_torque_nm": "10%"}, own)


def test_every_kind_of_sensor_takes_a_tolerance_of_its_mount() -> None:
    for kind in ("magnet", "reflective", "distance", "contact"):
        lift = lift_with({"sensor": [SENSORS[kind]], "tolerances": {"sensor.bottom.mount_mm": 0.5}})
        assert "sensor.bottom.mount_mm" in {each.key for each in lift.tolerances}
