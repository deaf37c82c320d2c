"""Lift files: what is accepted, what is filled in and said to be assumed, what comes out."""

from __future__ import annotations

import math
import pickle
from pathlib import Path

import pytest
from liftfiles import REMOVED, SENSORS, bent, lift_with

from homing.liftfile import BUILT_IN, load_lift
from homing.values import Range, Spread
from homing.words import CommandKind, DriveKind, EncoderPlace, StopKind, WindingsOff
from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind

BASE = """
[lift]
travel_mm = 640
incline_deg = 90
moving_mass_kg = 1.2
[drive]
motor = "brushed-36mm-12v"
motors = 2
gear_ratio = 19.2
spool_diameter_mm = 38
encoder_counts_per_rev = 28
[controller]
period_ms = 20
[[sensor]]
kind = "contact"
mount_mm = 20
"""


def test_about_ten_keys_make_a_lift(tmp_path: Path) -> None:
    file = tmp_path / "lift.toml"
    file.write_text(BASE)
    lift = load_lift(file)
    assert lift.source == str(file)
    assert lift.sensor().name == "bottom"
    assert lift.routine.sensor == "bottom"
    assert BASE.count("=") <= 12


def test_a_byte_order_mark_is_no_obstacle(tmp_path: Path) -> None:
    file = tmp_path / "lift.toml"
    file.write_text(BASE, encoding="utf-8-sig")
    assert load_lift(file).lift.travel_mm == 640


def test_the_built_in_example_loads_without_a_path() -> None:
    lift = load_lift()
    assert lift.source == BUILT_IN
    assert lift.tolerances


def test_every_value_that_was_not_given_is_listed_with_an_origin() -> None:
    lift = lift_with()
    listed = {each.key: each for each in lift.assumed}
    assert len(listed) == len(lift.assumed)
    assert all(len(each.origin) > 5 for each in lift.assumed)
    given = {f"{s}.{k}" for s, t in bent().items() if isinstance(t, dict) for k in t}
    given |= {f"sensor.bottom.{key}" for key in bent()["sensor"][0]}
    numbers = set(lift.quantities())
    unlisted = {key for key in numbers - given - set(listed) if ".magnet." not in key}
    # without a return string its numbers have no effect and are not listed
    assert unlisted == {key for key in numbers if key.startswith("string.return_")}
    assert not given & set(listed)


def test_a_given_value_is_never_listed_as_assumed() -> None:
    lift = lift_with({"lift.friction_n": 7.5, "drive.motor_stall_current_a": 9.0})
    assert lift.lift.friction_n == 7.5
    assert lift.drive.motor_stall_current_a == 9.0
    assert not {"lift.friction_n", "drive.motor_stall_current_a"} & {each.key for each in lift.assumed}


def test_weight_is_mass_times_free_fall() -> None:
    assert lift_with().lift.weight_n == pytest.approx(1.2 * 9.80665, rel=1e-15)  # ISO 80000-3


def test_default_string_stiffness_follows_length_and_rigging() -> None:
    single, cascade = lift_with(), lift_with({"drive.travel_per_line": 2})
    assert single.string is not None
    assert cascade.string is not None
    # the same force at the carriage pulls the line twice as hard, and its stretch shows twice
    assert single.string.stiffness_n_per_mm / cascade.string.stiffness_n_per_mm == pytest.approx(4)
    assert single.string.stiffness_n_per_mm == pytest.approx(30000 / 840)


@pytest.mark.parametrize(
    ("key", "word", "member"),
    [
        ("drive.encoder_on", "spool", EncoderPlace.SPOOL),
        ("drive.when_off", "open", WindingsOff.OPEN),
        ("drive.command", "duty", CommandKind.DUTY),
        ("routine.stop", "open", StopKind.OPEN),
    ],
)
def test_words_become_enumerations(key: str, word: str, member: object) -> None:
    section, name = key.split(".")
    assert getattr(getattr(lift_with({key: word}), section), name) is member


def test_power_drives_stop_with_shorted_windings_by_default() -> None:
    assert lift_with().routine.stop is StopKind.HOLD
    assert lift_with({"drive.command": "duty"}).routine.stop is StopKind.SHORTED


@pytest.mark.parametrize("kind", SENSORS)
def test_every_kind_of_sensor_loads(kind: str) -> None:
    lift = lift_with({"sensor": [SENSORS[kind]]})
    assert lift.sensor().kind is SensorKind[kind.upper()]


@pytest.mark.parametrize(
    ("kind", "own"),
    [
        ("belt", {"drive.pulley_diameter_mm": 12.0}),
        ("lead_screw", {"drive.lead_mm": 8.0}),
    ],
)
def test_belt_and_screw_need_no_string(kind: str, own: dict[str, float]) -> None:
    level = {"drive.kind": kind, "drive.spool_diameter_mm": REMOVED, "lift.incline_deg": 0}
    lift = lift_with(level | own)
    assert lift.drive.kind is DriveKind[kind.upper()]
    assert lift.string is None
    assert lift.drive.stiffness_n_per_mm is not None


def test_mm_per_count_from_gear_spool_and_rigging() -> None:
    lift = lift_with({"drive.travel_per_line": 2})
    assert lift.drive.mm_per_count == pytest.approx(math.pi * 38 * 2 / 19.2 / 28)
    on_spool = lift_with({"drive.travel_per_line": 2, "drive.encoder_on": "spool"})
    assert on_spool.drive.mm_per_count == pytest.approx(math.pi * 38 * 2 / 28)


def test_free_speed_at_the_carriage() -> None:
    assert lift_with().drive.free_speed_mm_s == pytest.approx(6000 / 60 / 19.2 * math.pi * 38)


def test_quantities_hold_every_number_under_its_dotted_key() -> None:
    numbers = lift_with().quantities()
    assert numbers["lift.travel_mm"] == 640
    assert numbers["drive.motors"] == 2
    assert numbers["sensor.bottom.mount_mm"] == 20
    assert numbers["sensor.bottom.magnet.diameter_mm"] == 10
    assert "routine.recheck" not in numbers
    assert "drive.kind" not in numbers
    assert all(isinstance(value, float) and math.isfinite(value) for value in numbers.values())


def test_a_spread_counts_with_its_typical_value() -> None:
    lift = lift_with({"sensor.operate_mt": [1.5, 3.0, 4.8], "sensor.release_mt": [0.5, 1.5, 3.0]})
    assert lift.sensors[0].operate_mt == Spread(1.5, 3.0, 4.8)  # type: ignore[union-attr]
    assert lift.quantities()["sensor.bottom.operate_mt"] == 3.0


def test_a_candidate_may_span_a_range() -> None:
    candidate = {"name": "other", "kind": "contact", "mount_mm": [5, 40]}
    lift = lift_with({"candidate": [candidate]})
    assert lift.candidates[0].mount_mm == Range(5.0, 40.0)
    assert lift.sensor("other") is lift.candidates[0]


def test_replace_gives_a_new_checked_lift() -> None:
    lift = lift_with()
    changed = lift.replace({"lift.moving_mass_kg": 2.0, "sensor.bottom.mount_mm": 31, "routine.stop": "open"})
    assert changed.lift.weight_n == pytest.approx(2 * 9.80665)
    assert changed.sensors[0].mount_mm == 31
    assert changed.routine.stop is StopKind.OPEN
    assert lift.lift.moving_mass_kg == 1.2
    assert lift.sensors[0].mount_mm == 20


@pytest.mark.parametrize(
    "key", ["drive.gear_efficiency", "sensor.bottom.gap_mm", "sensor.bottom.magnet.diameter_mm"]
)
def test_replace_reaches_values_that_were_assumed(key: str) -> None:
    lift = lift_with()
    assert lift.replace({key: 0.7}).quantities()[key] == 0.7


def test_replacing_every_number_by_itself_changes_nothing() -> None:
    lift = lift_with(
        {"sensor.magnet": {"shape": "disc", "diameter_mm": 8, "height_mm": 2, "remanence_t": 1.2}}
    )
    numbers = lift.quantities()
    whole = {key: int(value) if value == int(value) else value for key, value in numbers.items()}
    assert lift.replace(whole).quantities() == pytest.approx(numbers)


@pytest.mark.parametrize(
    "key", ["lift.colour", "sensor.top.gap_mm", "sensor.bottom.colour", "gap_mm", "nothing.at_all"]
)
def test_replace_refuses_unknown_keys(key: str) -> None:
    with pytest.raises(InputError, match="not a numeric key"):
        lift_with().replace({key: 1.0})


def test_replace_refuses_what_a_file_could_not_say() -> None:
    with pytest.raises(InputError, match=r"sensor\.bottom\.mount_mm must not be above the travel"):
        lift_with().replace({"sensor.bottom.mount_mm": 641.0})


def test_a_lift_travels_to_another_process() -> None:
    lift = load_lift()
    assert pickle.loads(pickle.dumps(lift)) == lift


def test_fault_rates_and_log_are_kept() -> None:
    lift = lift_with(
        {
            "fault_rates": {"late_loop": 2, "dead_motor": 0.5},
            "log": {
                "time": {"column": "t_ms", "unit": "ms"},
                "sensor": {"column": "b", "active": "low"},
                "mm_per_count": 0.44,
            },
        }
    )
    assert lift.fault_rates == {"late_loop": 2.0, "dead_motor": 0.5}
    assert lift.log is not None
    assert lift.log.roles["time"].unit == "ms"
    assert lift.log.mm_per_count == 0.44


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"drive.motor_stall_torque_nm": 0.30}, "torque per ampere"),
        ({"lift.moving_mass_kg": 0.1}, "slides of this travel usually weigh"),
        ({"routine.creep_speed_mm_s": 300}, "the slow approach is the faster one"),
        ({"routine.fast_speed_mm_s": 3000}, "free speed"),
        ({"lift.incline_deg": 15, "lift.friction_n": 4}, "it hangs where it is"),
        (
            {"sensor": [SENSORS["contact"] | {"pretravel_mm": 0.8, "differential_mm": 1.2}]},
            "let go only after",
        ),
    ],
)
def test_what_is_possible_but_odd_is_noted(changes: dict[str, object], said: str) -> None:
    assert any(said in note for note in lift_with(changes).notes)
    assert not lift_with().notes
