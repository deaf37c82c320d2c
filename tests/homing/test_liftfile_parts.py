"""Our own lists of motors, slides and strings: every value has an origin and agrees with the others."""

from __future__ import annotations

import math
from typing import Any

import pytest
from liftfiles import lift_with

from homing.motor import NOTED_MISMATCH, Motor
from homing.partslists import Datum, read_list

LISTS = ("motors", "slides", "strings", "defaults")

#: End of the slides at 900 mm extension with 1 kg on it: forward mm, sideways mm, mass of the slides g.
#: Common practice, no source; check ranges only, never the origin of a shipped value. Steel rails give "far
#: less" than any of the others.
SEEN_AT_900_MM = {"profile": (45, 108, 490), "drawer": (95, 25, 520), "wheeled": (50, 85, 700)}
RAIL_MASS_G = 1250


def data(table: Any) -> list[Datum]:
    return [each for entry in table.values() for each in (data(entry) if isinstance(entry, dict) else [entry])
            if isinstance(each, Datum)]  # fmt: skip


@pytest.mark.parametrize("name", LISTS)
def test_every_value_says_where_it_comes_from(name: str) -> None:
    for part in read_list(name).values():
        for datum in data(part):
            assert any(word in datum.origin for word in (
                "own estimate", "own choice", "stated default", "common practice, no source", "from memory",
                "coefficient of NdFeB", "the hard stop itself",
            )), datum  # fmt: skip


@pytest.mark.parametrize("name", LISTS)
def test_values_lie_within_the_range_they_state(name: str) -> None:
    for part in read_list(name).values():
        for datum in data(part):
            if datum.low is not None and datum.high is not None:
                assert datum.low < datum.value < datum.high


@pytest.mark.parametrize("name", read_list("motors"))
def test_motors_agree_with_themselves(name: str) -> None:
    values = {key: datum.value for key, datum in read_list("motors")[name].items()}
    motor = Motor(
        free_speed_rad_per_s=values["motor_free_speed_rpm"] * 2 * math.pi / 60,
        stall_torque_nm=values["motor_stall_torque_nm"],
        stall_current_a=values["motor_stall_current_a"],
        free_current_a=values["motor_free_current_a"],
        nominal_v=values["nominal_voltage_v"],
    )
    assert abs(motor.mismatch) < NOTED_MISMATCH
    # mechanical time constants of small iron-core motors: 10 to 40 ms (own estimate, as the list says)
    assert 0.010 < motor.mechanical_time_s(values["rotor_inertia_kg_m2"]) < 0.040
    assert lift_with({"drive.motor": name}).drive.motor_stall_torque_nm == values["motor_stall_torque_nm"]


@pytest.mark.parametrize("family", SEEN_AT_900_MM)
def test_slide_families_cover_what_is_seen_in_practice(family: str) -> None:
    table = read_list("slides")[family]
    forward_mm, sideways_mm, mass_g = SEEN_AT_900_MM[family]
    for key, seen in (("give_forward_mm_per_m", forward_mm), ("give_sideways_mm_per_m", sideways_mm)):
        assert table[key].low < seen / 0.9 < table[key].high
    assert table["mass_kg_per_m"].low < mass_g / 900 < table["mass_kg_per_m"].high


def test_steel_rails_are_heavy_and_give_far_less() -> None:
    slides = read_list("slides")
    rail = slides["rail"]
    assert rail["mass_kg_per_m"].low < RAIL_MASS_G / 900 < rail["mass_kg_per_m"].high
    for key in ("give_forward_mm_per_m", "give_sideways_mm_per_m"):
        assert all(rail[key].high < slides[family][key].low for family in SEEN_AT_900_MM)


@pytest.mark.parametrize("family", read_list("slides"))
def test_slides_give_friction_and_sway(family: str) -> None:
    lift, table = lift_with({"lift.slides": family}), read_list("slides")[family]
    assert lift.lift.friction_n == table["friction_n"].value
    assert lift.lift.viscous_n_s_per_m == table["viscous_n_s_per_m"].value
    assert lift.lift.sway_mm == table["sway_mm"].value


@pytest.mark.parametrize("kind", read_list("strings"))
def test_strings_give_stiffness(kind: str) -> None:
    lift = lift_with({"string.type": kind})
    assert lift.string is not None
    # travel 640 mm and 200 mm more of line, rigging 1 to 1
    line_n = read_list("strings")[kind]["line_stiffness_n"].value
    assert lift.string.stiffness_n_per_mm * 840 == pytest.approx(line_n)


def test_braid_is_softer_than_its_yarn() -> None:
    # DSM fact sheet CIS YA100 (2010): yarn 109 to 132 GPa; here on the full area of a 1 mm circle
    yarn_n = 109e9 * math.pi / 4 * 0.001**2
    assert read_list("strings")["braided"]["line_stiffness_n"].value < yarn_n
