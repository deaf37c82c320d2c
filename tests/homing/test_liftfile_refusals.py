"""Lift files that cannot be used: one sentence each, with file, key and what is accepted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from liftfiles import REMOVED, SENSORS, lift_with

from homing.liftfile import load_lift
from sensor_models.errors import InputError

NAN, INF = float("nan"), float("inf")


def refusal(changes: dict[str, Any]) -> str:
    with pytest.raises(InputError) as caught:
        lift_with(changes)
    sentence = str(caught.value)
    assert sentence.startswith("lift.toml")
    assert "\n" not in sentence
    return sentence


@pytest.mark.parametrize("bad", [NAN, INF, -INF, -1.0, True, "12", [1, 2], None])
@pytest.mark.parametrize(
    "key", ["lift.travel_mm", "drive.gear_ratio", "controller.period_ms", "stop.stiffness_n_per_mm"]
)
def test_a_number_must_be_a_finite_positive_number(key: str, bad: object) -> None:
    sentence = refusal({key: bad})
    assert f"{key} must be a number above 0" in sentence
    assert sentence.endswith(f"; got {bad!r}") or bad is None


@pytest.mark.parametrize(
    ("key", "bad", "accepted"),
    [
        ("lift.incline_deg", 91, "must be a number from 0 to 90"),
        ("lift.friction_n", -0.1, "must be a number of at least 0"),
        ("drive.gear_efficiency", 0, "must be a number above 0 and at most 1"),
        ("drive.gear_efficiency", 1.01, "must be a number above 0 and at most 1"),
        ("drive.motors", 0, "must be a whole number of at least 1"),
        ("drive.motors", 1.5, "must be a whole number of at least 1"),
        ("drive.motors", True, "must be a whole number of at least 1"),
        ("drive.encoder_counts_per_rev", 28.5, "must be a whole number of at least 1"),
        ("stop.restitution", 0.04, "must be a number from 0.05 to 1"),
        ("stop.restitution", 1.1, "must be a number from 0.05 to 1"),
        ("controller.late_loop_probability", 1.5, "must be a number from 0 to 1"),
        ("requirements.allowed_failure_rate", 1, "must be a number above 0 and below 1"),
        ("requirements.allowed_failure_rate", 0, "must be a number above 0 and below 1"),
        ("requirements.accepted_false_triggers", -1, "must be a whole number of at least 0"),
        ("routine.agree_readings", 0, "must be a whole number of at least 1"),
        ("routine.recheck", 1, "must be true or false"),
        ("routine.recheck", "yes", "must be true or false"),
        ("lift.name", "", "must be a text that is not empty"),
        ("lift.name", 5, "must be a text that is not empty"),
        ("drive.kind", "strng", '(did you mean "string"?)'),
        ("drive.when_off", 1, 'must be "shorted" or "open"'),
        ("routine.stop", "holding", '(did you mean "hold"?)'),
        ("lift.slides", "drawers", '(did you mean "drawer"?)'),
        ("string.type", "brided", '(did you mean "braided"?)'),
        ("drive.motor", "brushed-36mm-12", '(did you mean "brushed-36mm-12v"?)'),
        ("fault_rates.late_loop", -1, "must be a number of at least 0"),
    ],
)
def test_a_value_out_of_its_range(key: str, bad: object, accepted: str) -> None:
    sentence = refusal({key: bad})
    assert key in sentence
    assert accepted in sentence
    assert sentence.endswith(f"got {bad!r}")


@pytest.mark.parametrize(
    ("key", "hint"),
    [
        ("lift.moving_mas_kg", '(did you mean "moving_mass_kg"?)'),
        ("lift.fast_speed_mm_s", "(it belongs in [routine])"),
        ("drive.colour", "accepted are kind, motor, motors"),
        ("sensor.gap", '(did you mean "gap_mm"?)'),
        ("sensor.pretravel_mm", "is not a known key"),
        ("routine.crep_speed_mm_s", '(did you mean "creep_speed_mm_s"?)'),
        ("requirements.overtravel", '(did you mean "overtravel_mm"?)'),
        ("stop.restitutions", '(did you mean "restitution"?)'),
    ],
)
def test_unknown_keys_are_refused_with_the_nearest_known_one(key: str, hint: str) -> None:
    sentence = refusal({key: 1})
    assert "is not a known key" in sentence
    assert hint in sentence


def test_a_misspelt_required_key_is_called_misspelt_not_missing() -> None:
    sentence = refusal({"lift.travel_mm": REMOVED, "lift.travl_mm": 640})
    assert 'travl_mm is not a known key (did you mean "travel_mm"?)' in sentence


def test_an_unknown_key_of_the_magnet() -> None:
    magnet = {"shape": "disc", "diameter": 10, "height_mm": 3, "grade": "N42"}
    assert 'magnet.diameter is not a known key (did you mean "diameter_mm"?)' in refusal(
        {"sensor.magnet": magnet}
    )


def test_unknown_sections() -> None:
    assert '[routin] is not a section of a lift file (did you mean "routine"?)' in refusal({"routin": {}})
    assert "lift must be a table, written [lift]" in refusal({"lift": 3})
    assert "sensor must be a list of tables, each written [[sensor]]" in refusal({"sensor": {"mount_mm": 3}})


@pytest.mark.parametrize(
    ("key", "what"),
    [
        ("lift.travel_mm", "hard stop to upper stop"),
        ("lift.incline_deg", "90 vertical, 0 horizontal"),
        ("lift.moving_mass_kg", "inertia at the carriage"),
        ("drive.motors", "number of motors"),
        ("drive.gear_ratio", "motor turns"),
        ("drive.spool_diameter_mm", "diameter at the string"),
        ("drive.encoder_counts_per_rev", "counts for one turn"),
        ("controller.period_ms", "period of the control loop"),
        ("sensor.mount_mm", "where along the travel"),
    ],
)
def test_a_missing_key_is_named_with_its_meaning(key: str, what: str) -> None:
    sentence = refusal({key: REMOVED})
    name = key.replace("sensor.", "sensor[1].")
    assert f"{name} must be given ({what}" in sentence


@pytest.mark.parametrize("key", ["motor_free_speed_rpm", "motor_stall_torque_nm", "motor_stall_current_a"])
def test_without_a_motor_part_its_numbers_are_needed(key: str) -> None:
    own = {
        "drive.motor": REMOVED,
        "drive.motor_free_speed_rpm": 6000,
        "drive.motor_stall_torque_nm": 0.17,
        "drive.motor_stall_current_a": 9.2,
    }
    assert lift_with(own).drive.motor is None
    sentence = refusal(own | {f"drive.{key}": REMOVED})
    assert f"drive.{key} must be given" in sentence
    assert "or drive.motor one of brushed-" in sentence


def test_sections_that_are_missing_altogether() -> None:
    assert "[[sensor]] must be given" in refusal({"sensor": REMOVED})
    assert "controller.period_ms must be given" in refusal({"controller": REMOVED})
    assert "drive.motors must be given" in refusal({"drive": REMOVED})
    assert "lift.travel_mm must be given" in refusal({"lift": REMOVED})


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"sensor.mount_mm": 641}, "sensor.bottom.mount_mm must not be above the travel, 640 mm; got 641"),
        ({"lift.start_mm": 700}, "lift.start_mm must be within the travel, 0 to 640; got 700"),
        (
            {"lift.friction_n": 5, "lift.static_friction_n": 4},
            "static_friction_n must be at least friction_n",
        ),
        ({"lift.incline_deg": 0}, "string.return_string must be true when incline_deg is 0"),
        ({"drive.command": "duty", "routine.stop": "hold"}, 'routine.stop must be "shorted" or "open"'),
        ({"drive.motor_free_current_a": 9.2}, "motor_free_current_a must be below motor_stall_current_a"),
        ({"controller.late_loop_ms": 20}, "late_loop_ms must be longer than period_ms, 20"),
        ({"routine.sensor": "top"}, 'routine.sensor must name one of the sensors, "bottom"'),
        ({"drive.pulley_diameter_mm": 12}, 'drive.pulley_diameter_mm belongs to drives of kind "belt"'),
        ({"drive.backlash_mm": 1}, 'belongs to drives of kind "belt" or "lead_screw"'),
        (
            {
                "drive.kind": "belt",
                "drive.spool_diameter_mm": REMOVED,
                "drive.pulley_diameter_mm": 12,
                "string.stiffness_n_per_mm": 5,
            },
            '[string] must be left out: a drive of kind "belt" has no string',
        ),
        (
            {"drive.kind": "belt", "drive.spool_diameter_mm": REMOVED},
            "drive.pulley_diameter_mm must be given",
        ),
        ({"drive.kind": "lead_screw", "drive.spool_diameter_mm": REMOVED}, "drive.lead_mm must be given"),
    ],
)
def test_impossible_lifts(changes: dict[str, Any], said: str) -> None:
    assert said in refusal(changes)


@pytest.mark.parametrize(
    ("kind", "changes", "said"),
    [
        ("magnet", {"release_mt": 3.0}, "release_mt must be below operate_mt, 3; got 3.0"),
        ("magnet", {"release_mt": -1.0}, "release_mt must not be negative for omnipolar switches"),
        ("magnet", {"switch": "latching"}, "release_mt must be negative for a latching switch"),
        ("magnet", {"approach": "head_on"}, 'mount_mm must not be above 0 with approach = "head_on"'),
        ("magnet", {"switch": "omnipole"}, '(did you mean "omnipolar"?)'),
        ("magnet", {"operate_mt": [4.8, 3.0, 1.5]}, "must be listed from the smallest to the largest"),
        ("magnet", {"operate_mt": [3.0, 3.0, 3.0]}, "not all equal"),
        ("magnet", {"operate_mt": [1.5, 3.0]}, "must be a number above 0, or [min, typ, max] of such"),
        ("magnet", {"operate_mt": [1.5, True, 4.8]}, "must be a number above 0, or [min, typ, max] of such"),
        ("magnet", {"operate_mt": [-1.5, 3.0, 4.8]}, "must be a number above 0, or [min, typ, max] of such"),
        ("magnet", {"mount_mm": [5, 40]}, "mount_mm must be a number, or [min, typ, max] of such"),
        ("magnet", {"noise_flip_probability": 2}, "must be a number from 0 to 1"),
        ("magnet", {"magnet": 7}, "magnet must be a table of keys"),
        (
            "magnet",
            {"magnet": {"shape": "disc", "diameter_mm": 10, "grade": "N42"}},
            "height_mm must be given for",
        ),
        (
            "magnet",
            {"magnet": {"shape": "block", "size_mm": [10, 5], "grade": "N42"}},
            "must be a list of 3 numbers",
        ),
        (
            "magnet",
            {"magnet": {"shape": "block", "size_mm": [10, 5, 3], "diameter_mm": 3, "grade": "N42"}},
            'diameter_mm must be left out for shape "block"',
        ),
        (
            "magnet",
            {"magnet": {"shape": "disc", "diameter_mm": 10, "height_mm": 3}},
            "remanence_t must be given",
        ),
        (
            "magnet",
            {"magnet": {"shape": "disc", "diameter_mm": 10, "height_mm": 3, "grade": "N43"}},
            '(did you mean "N4',
        ),
        ("reflective", {"hysteresis": 0.6}, "hysteresis must be below threshold, 0.5; got 0.6"),
        (
            "reflective",
            {"peak_gap_mm": 2, "curve": [[1, 0.5], [2, 1.0]]},
            "curve or peak_gap_mm must be given, and only one",
        ),
        ("reflective", {"curve": [[2, 0.5], [1, 1.0]]}, "must be at least two points"),
        ("reflective", {"curve": [[2, 0.5]]}, "must be at least two points"),
        ("reflective", {"target_mm": [20]}, "must be a list of 2 numbers above 0: [along, across]"),
        ("reflective", {"reflectance": 1.2}, "reflectance must be a number above 0 and at most 1"),
        ("distance", {"min_mm": 300}, "min_mm must be below max_mm"),
        ("distance", {"threshold_v": 3.5}, "threshold_v must be within the curve, 0.6 to 3 V"),
        ("distance", {"adc_bits": 10.5}, "must be a whole number from 1 to 32"),
        ("contact", {"lever_ratio": 0}, "lever_ratio must be a number above 0"),
        (
            "contact",
            {"wiring": "normally_closed", "active": "high", "open_wire_reads": "low"},
            "open_wire_reads must be as active",
        ),
        (
            "contact",
            {"active": "high", "open_wire_reads": "high"},
            "open_wire_reads must be the other level than active",
        ),
        ("stall", {"mount_mm": 5}, "mount_mm must be a number from 0 to 0"),
        ("stall", {"gap_mm": 3}, "gap_mm is not a known key"),
        ("contact", {"kind": "contakt"}, '(did you mean "contact"?)'),
        ("contact", {"name": "a b"}, "must be made of letters, digits, - and _"),
    ],
)
def test_impossible_sensors(kind: str, changes: dict[str, Any], said: str) -> None:
    assert said in refusal({"sensor": [SENSORS[kind] | changes]})


def test_sensors_need_different_names() -> None:
    twice = [SENSORS["contact"] | {"name": "bottom"}] * 2
    assert "sensor.name must be different for every sensor and candidate; got 'bottom'" in refusal(
        {"sensor": twice}
    )


def test_a_kind_or_a_part_is_needed() -> None:
    assert 'must be one of "magnet", "reflective"' in refusal({"sensor": [{"mount_mm": 20}]})
    assert "sensor.bottom.part must be one of" in refusal(
        {"sensor": [{"mount_mm": 20, "part": "no-such-part"}]}
    )


@pytest.mark.parametrize(
    ("log", "said"),
    [
        ({"tme": {"column": "t"}}, '(did you mean "time"?)'),
        ({"time": "t"}, 'must be a table such as { column = "NAME" }'),
        ({"time": {"unit": "ms"}}, "log.time.column must be given"),
        ({"time": {"column": "t", "unit": "min"}}, 'log.time.unit must be one of "s", "ms", "us", "ns"'),
        ({"time": {"column": "t", "colour": 1}}, "is not a known key"),
        ({"sensor": {"column": "t", "active": "lo"}}, '(did you mean "low"?)'),
        ({"mm_per_count": -1}, "mm_per_count must be a number above 0"),
    ],
)
def test_bad_log_sections(log: dict[str, Any], said: str) -> None:
    assert said in refusal({"log": log})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[lift\ntravel_mm = 3", "is not valid TOML: "),
        ("[lift]\ntravel_mm = 3\ntravel_mm = 4", "(at line 3"),
        ("[lift]\ntravel_mm = 03", "(at line 2"),
    ],
)
def test_a_syntax_error_names_its_line(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "lift.toml"
    file.write_text(text)
    with pytest.raises(InputError, match="line") as caught:
        load_lift(file)
    assert said in str(caught.value)
    assert str(caught.value).startswith(str(file))


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        load_lift(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        load_lift(tmp_path)
    binary = tmp_path / "lift.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="must be UTF-8 text"):
        load_lift(binary)
