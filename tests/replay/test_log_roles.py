"""Roles from headers and values, maps, and what is asked where it is not plain."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from logfiles import rows_of, write

from homing.words import Level
from replay import LogColumns, Role, Unit, read_log
from replay.defects import DefectKind
from replay.roles import Origin
from sensor_models.errors import InputError

ROWS = 40


def log_text(columns: dict[str, list[Any]], separator: str = ",") -> str:
    lines = [separator.join(columns)]
    lines += [separator.join(str(cell) for cell in row) for row in zip(*columns.values(), strict=True)]
    return "\n".join(lines)


def plain(**more: list[Any]) -> dict[str, list[Any]]:
    return {"t_ms": [20 * i for i in range(ROWS)], "counts": [3 * i for i in range(ROWS)], **more}


@pytest.mark.parametrize(
    ("name", "values", "role", "unit"),
    [
        ("out", [-0.5, 0.5], Role.COMMAND, Unit.FRACTION),
        ("power", [-50, 80], Role.COMMAND, Unit.PERCENT),
        ("duty [V]", [-5, 8], Role.COMMAND, Unit.VOLT),
        ("motor volts", [-5, 8], Role.COMMAND, Unit.VOLT),
        ("pwm_pct", [-1, 1], Role.COMMAND, Unit.PERCENT),
        ("vbat", [11, 12], Role.BATTERY, Unit.VOLT),
        ("battery_mV", [11000, 12000], Role.BATTERY, Unit.MILLIVOLT),
        ("amps", [0, 3], Role.CURRENT, Unit.AMPERE),
        ("current_ma", [0, 3000], Role.CURRENT, Unit.MILLIAMPERE),
        ("hall", [0, 1], Role.SENSOR, None),
        ("S1", ["pressed", "open"], Role.SENSOR, None),
        ("lift_mode", ["Home", "Go"], Role.STATE, None),
        ("goal", [0, 400], Role.TARGET, Unit.COUNT),
        ("setpoint_mm", [0, 400], Role.TARGET, Unit.MILLIMETRE),
    ],
)
def test_a_column_finds_its_role(
    name: str, values: list[Any], role: Role, unit: Unit | None, tmp_path: Path
) -> None:
    text = log_text(plain(**{name: values * (ROWS // 2)}))
    log = read_log(write(tmp_path, text))
    assert log.roles[role].spec.column == name
    assert log.roles[role].spec.unit is unit
    assert len(log.values) == 2


@pytest.mark.parametrize(
    "name",
    [
        "gyro_rate",
        "wrist",
        "heading",
        "loop_count",
        "dt",
        "temp_c",
        "claw_servo",
        "lift_vel",
        "pos_error",
        "upper_limit",
    ],
)
def test_unrelated_columns_play_no_role(name: str, tmp_path: Path) -> None:
    values = list(range(ROWS)) if name == "loop_count" else [0, 1] * (ROWS // 2)
    log = read_log(write(tmp_path, log_text(plain(**{name: values}))))
    assert set(log.roles) == {Role.TIME, Role.COUNTS}


def test_units_become_base_units(tmp_path: Path) -> None:
    half = ROWS // 2
    columns = plain(battery_mV=[12500, 11000] * half, current_mA=[300, 1500] * half, out_pct=[-50, 25] * half)
    log = read_log(write(tmp_path, log_text(columns)))
    assert log[Role.BATTERY][:2].tolist() == [12.5, 11.0]
    assert log[Role.CURRENT][:2].tolist() == [0.3, 1.5]
    assert log[Role.COMMAND][:2].tolist() == [-0.5, 0.25]
    assert log.unit(Role.COMMAND) is Unit.FRACTION


@pytest.mark.parametrize(
    ("one", "two"),
    [("leftPos", "rightPos"), ("enc_l", "enc_r"), ("encoder1", "encoder2"), ("rightPos", "leftPos")],
)
def test_a_left_and_a_right_one_become_a_pair(one: str, two: str, tmp_path: Path) -> None:
    columns = {
        "t_ms": [20 * i for i in range(ROWS)],
        one: list(range(ROWS)),
        two: list(range(0, 2 * ROWS, 2)),
    }
    log = read_log(write(tmp_path, log_text(columns)))
    first = one if not one.startswith("right") else two
    assert log.roles[Role.COUNTS].spec.column == first
    assert {log.roles[Role.COUNTS].spec.column, log.roles[Role.COUNTS_2].spec.column} == {one, two}


def test_named_seconds_are_found(tmp_path: Path) -> None:
    columns = plain(counts_2=list(range(ROWS)), sensor=[0, 1] * 20, sensor_2=[1, 0] * 20, current=[1] * ROWS)
    columns["current_2"] = [2.0] * ROWS
    log = read_log(write(tmp_path, log_text(columns)))
    assert {Role.COUNTS_2, Role.SENSOR_2, Role.CURRENT_2} <= set(log.values)
    assert log.roles[Role.SENSOR].spec.column == "sensor"


@pytest.mark.parametrize(
    ("step", "unit"),
    [(0.02, Unit.SECOND), (20, Unit.MILLISECOND), (20_000, Unit.MICROSECOND), (20_000_000, Unit.NANOSECOND)],
)
def test_the_time_unit_follows_from_the_step(step: float, unit: Unit, tmp_path: Path) -> None:
    text = log_text({"time": [round(step * i, 6) for i in range(ROWS)], "pos": list(range(ROWS))})
    log = read_log(write(tmp_path, text))
    assert log.roles[Role.TIME].spec.unit is unit
    np.testing.assert_allclose(np.diff(log.time_s), 0.02, rtol=1e-12)


# 0.2 ms to 2 s: a step of 1 is 1 s or 1 ms, one of 1000 is 1 ms (in us) or 1 s (in ms)
@pytest.mark.parametrize(
    ("step", "units"), [(1, "s or ms"), (0.5, "s or ms"), (1000, "ms or us"), (1e13, "none of")]
)
def test_a_time_unit_that_is_not_plain_is_asked_for(step: float, units: str, tmp_path: Path) -> None:
    text = log_text({"time": [step * i for i in range(ROWS)], "pos": list(range(ROWS))})
    path = write(tmp_path, text)
    with pytest.raises(InputError, match=units) as caught:
        read_log(path)
    suggested = tomllib.loads("[log]" + str(caught.value).split("[log]")[1])["log"]
    assert suggested["time"]["column"] == "time"
    log = read_log(path, {"time": {"column": "time", "unit": "ms"}})
    assert log.roles[Role.COUNTS].origin is Origin.HEADER


def test_ambiguous_counts_are_asked_for_with_a_map_to_finish(tmp_path: Path) -> None:
    text = log_text(
        {"t_ms": [20 * i for i in range(ROWS)], "arm_pos": list(range(ROWS)), "lift_pos": list(range(ROWS))}
    )
    path = write(tmp_path, text)
    with pytest.raises(InputError, match='"arm_pos", "lift_pos" could each be the counts') as caught:
        read_log(path)
    start = str(caught.value).index("[log]")
    snippet = str(caught.value)[start:].replace("arm_pos", "lift_pos")
    (tmp_path / "map.toml").write_text(snippet)
    log = read_log(path, tmp_path / "map.toml")
    assert log.roles[Role.COUNTS].spec.column == "lift_pos"


def test_optional_roles_that_are_not_plain_stay_open_with_a_note(tmp_path: Path) -> None:
    text = log_text(plain(limit_a=[0, 1] * 20, limit_b=[0, 1] * 20, power=[5, -5] * 20))
    log = read_log(write(tmp_path, text))
    assert set(log.values) == {Role.COUNTS}
    assert any(note.startswith("sensor:") and "limit_a" in note for note in log.notes)
    assert any(note.startswith("command:") for note in log.notes)


def test_the_columns_that_a_trace_holds(tmp_path: Path) -> None:
    """Columns of ``--trace`` in the contract, section 5."""
    wave = [float(i % 5) for i in range(ROWS)]
    columns: dict[str, list[Any]] = {
        "t_s": [round(0.02 * i, 6) for i in range(ROWS)],
        "state": ["lifting"] * ROWS,
        "command_fraction": [-0.5, 0.25] * 20,
        "counts": list(range(ROWS)),
        **dict.fromkeys(("spool_mm", "carriage_mm", "carriage_mm_s"), wave),
        "sensor_bottom": [1, 0] * 20,
        "reading_bottom": [0, 1] * 20,
        "sensor_spare": [0.0, 1.0] * 20,
        "reading_spare": ["false", "true"] * 20,
        "current_a": wave,
        "battery_v": [12.5] * ROWS,
        **dict.fromkeys(("string_n", "return_string_n", "stop_n"), wave),
    }
    log = read_log(write(tmp_path, log_text(columns)))
    assert {role.value: choice.spec.column for role, choice in log.roles.items()} == {
        "time": "t_s",
        "counts": "counts",
        "command": "command_fraction",
        "sensor": "reading_bottom",
        "sensor_2": "reading_spare",
        "battery_v": "battery_v",
        "current_a": "current_a",
        "state": "state",
    }


def test_a_map_rules_and_turns_signs(tmp_path: Path) -> None:
    text = log_text(
        {"a": [20 * i for i in range(ROWS)], "b": list(range(ROWS)), "c": [0, 1] * 20, "pos": [7] * ROWS}
    )
    columns = {
        "time": {"column": "a", "unit": "ms"},
        "counts": {"column": "b", "invert": True},
        "sensor": {"column": "c", "active": "low"},
        "mm_per_count": 0.5,
    }
    log = read_log(write(tmp_path, text), columns)
    assert log.counts[-1] == -(ROWS - 1)
    assert log.height_mm is not None
    assert log.height_mm[-1] == -(ROWS - 1) / 2
    assert log[Role.SENSOR][:2].tolist() == [1.0, 0.0]
    assert log.scaled(9.0).mm_per_count == 0.5


BAD_MAPS: list[tuple[dict[str, Any], str]] = [
    ({"tme": {"column": "t_ms"}}, 'log.tme is not a known key (did you mean "time"?)'),
    ({"time": "t_ms"}, "log.time must be a table"),
    ({"time": {"column": ""}}, "log.time.column must be the header"),
    (
        {"time": {"column": "t_ms", "unit": "min"}},
        'log.time.unit must be one of "s", "ms", "us", "ns"; got \'min\'',
    ),
    ({"time": {"column": "t_ms", "active": "low"}}, "log.time.active is not a known key"),
    ({"sensor": {"column": "s", "active": "up"}}, 'log.sensor.active must be "high" or "low"'),
    ({"counts": {"column": "s", "invert": 1}}, "log.counts.invert must be true or false"),
    ({"mm_per_count": True}, "log.mm_per_count must be a number above 0"),
    ({"mm_per_count": -1}, "log.mm_per_count must be a number above 0"),
    ({"hold_s": float("nan")}, "log.hold_s must be a number above 0"),
    ({"name": {"column": "n"}}, "log.value must be given too"),
    ({"time": {"column": "t_mss"}, "counts": {"column": "counts"}}, 'did you mean "t_ms"?'),
    (
        {"time": {"column": "t_ms"}, "counts": {"column": "text"}},
        "must hold numbers to be the counts; got 'x'",
    ),
]


@pytest.mark.parametrize(("columns", "words"), BAD_MAPS)
def test_bad_maps_are_refused_in_a_sentence(columns: dict[str, Any], words: str, tmp_path: Path) -> None:
    path = write(tmp_path, log_text(plain(text=["x"] * ROWS)))
    with pytest.raises(InputError) as caught:
        read_log(path, columns)
    assert words in str(caught.value)


def test_a_column_that_is_on_or_off_only_now_and_then_is_named(tmp_path: Path) -> None:
    columns = {"time": {"column": "t_ms"}, "counts": {"column": "counts"}, "sensor": {"column": "level"}}
    log = read_log(write(tmp_path, log_text(plain(level=[0, 1, 2, 3] * 10))), columns)
    assert np.isnan(log[Role.SENSOR][2:4]).all()
    assert len(rows_of(log, DefectKind.UNREADABLE_CELL)) == ROWS // 2


def test_a_map_from_a_file(tmp_path: Path) -> None:
    good = tmp_path / "map.toml"
    good.write_text(
        '[log]\nsensor = { column = "hall", active = "low" }\nmm_per_count = 0.44\n[lift]\nx = 1\n'
    )
    columns = LogColumns.from_file(good)
    assert columns.specs[Role.SENSOR].active is Level.LOW
    assert columns.mm_per_count == 0.44
    for name, text, words in (
        ("a.toml", "[log", "must be a TOML file"),
        ("b.toml", "[lift]\n", "[log] must be there"),
        ("c.toml", "log = 3\n", "[log] must be there"),
    ):
        (tmp_path / name).write_text(text)
        with pytest.raises(InputError) as caught:
            LogColumns.from_file(tmp_path / name)
        assert words in str(caught.value)
    with pytest.raises(InputError, match="no such file"):
        LogColumns.from_file(tmp_path / "none.toml")


def test_two_columns_of_the_same_name_are_refused(tmp_path: Path) -> None:
    text = "t_ms,pos,pos\n" + "\n".join(f"{20 * i},{i},{i}" for i in range(ROWS))
    with pytest.raises(InputError, match="could each be the counts"):
        read_log(write(tmp_path, text))
    with pytest.raises(InputError, match="more than once"):
        read_log(write(tmp_path, text), {"time": {"column": "t_ms"}, "counts": {"column": "pos"}})
