"""``downstop fit`` on the command line: JSON, the new lift file, refusals; practice logs beside the code."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from fitlogs import duty_lift, traced
from logfiles import DATASETS, needs_datasets

from homing.cli import COMMANDS
from homing.liftfile import BUILT_IN, Lift, load_lift
from replay.fit import fit_logs
from replay.fit_commands import fit, new_name
from replay.fit_liftfile import Change, edited, fitted_text
from replay.fit_report import cautions, fit_text
from replay.units import Role
from sensor_models.errors import InputError

PRACTICE = DATASETS / "practice"
LIFTS = sorted(PRACTICE.glob("*.lift.toml")) if PRACTICE.is_dir() else [Path("none.lift.toml")]
PARAMETER_KEYS = {"key", "value", "unit", "std_error", "prior", "note"}


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(
        fit, [str(word) for word in words], standalone_mode=False, catch_exceptions=False
    )


@pytest.fixture
def duty_file(example: Lift, tmp_path: Path) -> Path:
    """The example as a file whose program sends duties, with a comment to keep."""
    from importlib.resources import files

    text = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    text = text.replace("[drive]\n", '[drive]\ncommand = "duty"\n', 1)
    text = text.replace("[routine]\n", '[routine]\nstop = "shorted"\n', 1)
    file = tmp_path / "mast.toml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.fixture
def log_file(duty_file: Path, tmp_path: Path) -> Path:
    """A trace of that lift."""
    traced(load_lift(duty_file), tmp_path)
    return tmp_path / "trace_0.csv"


def test_the_command_is_listed() -> None:
    assert COMMANDS["fit"][0] == "replay.fit_commands:fit"


def test_json_has_the_keys_of_the_contract(duty_file: Path, log_file: Path, tmp_path: Path) -> None:
    new = tmp_path / "new.toml"
    result = run(log_file, "--lift", duty_file, "--out", new, "--json", "-")
    assert result.exit_code == 0
    document: dict[str, Any] = json.loads(result.stdout)
    assert {"downstop", "command", "parameters", "fit_error_mm_rms", "rows_used", "lift_file"} <= set(
        document
    )
    assert document["command"] == "fit"
    assert document["lift_file"] == str(new)
    for each in document["parameters"]:
        assert set(each) >= PARAMETER_KEYS
        assert each["low"] <= each["value"] <= each["high"]
    named = {each["key"] for each in document["parameters"]}
    assert {
        "lift.friction_n",
        "lift.moving_mass_kg",
        "battery.resistance_ohm",
        "sensor.bottom.mount_mm",
    } <= named


def test_the_new_lift_file_is_a_lift_file_with_origins(
    duty_file: Path, log_file: Path, tmp_path: Path
) -> None:
    before, new = duty_file.read_bytes(), tmp_path / "new.toml"
    assert run(log_file, "--lift", duty_file, "--out", new).exit_code == 0
    assert duty_file.read_bytes() == before
    text = new.read_text(encoding="utf-8")
    assert "friction_n = " in text
    assert "# measured: fitted to logs, standard error" in text
    assert "data sheet: motor" in text
    assert "assumed: " in text
    assert "# hard stop to upper stop" in text  # comments of the old file stay
    lift = load_lift(new)
    assert lift.lift.friction_n == pytest.approx(load_lift(duty_file).lift.friction_n, rel=0.05)


def test_a_file_that_is_there_is_never_overwritten(duty_file: Path, log_file: Path) -> None:
    with pytest.raises(InputError, match="must be a new name"):
        run(log_file, "--lift", duty_file, "--out", duty_file)


def test_without_a_name_the_new_file_gets_one_of_its_own(
    example: Lift, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    first = new_name(None, example)
    assert first.name == BUILT_IN.replace(" ", "_") + ".fitted.toml"
    first.write_text("")
    assert new_name(None, example).name.endswith(".fitted-2.toml")
    assert new_name(str(tmp_path / "folder"), example).parent.name == "folder"


def test_without_a_lift_file_it_is_said_which_lift_is_fitted(log_file: Path, tmp_path: Path) -> None:
    result = run(log_file, "--out", tmp_path / "new.toml")
    assert result.exit_code == 0
    assert "an invented lift" in result.stderr


def test_the_text_says_errors_ties_and_where_the_file_went(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    text = fit_text(fit_logs([traced(lift, tmp_path)], lift), tmp_path / "new.toml")
    for words in ("lift.friction_n", "std error", "correlation", "mm rms", "new.toml", "caution: "):
        assert words in text


def test_a_lift_file_of_another_scale_is_said_not_to_fit(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    log = traced(lift, tmp_path)
    larger = replace(log, mm_per_count=3.0 * lift.drive.mm_per_count)
    said = " ".join(cautions(fit_logs([larger], lift)))
    assert "more than the lift file's travel of 640 mm" in said


def test_commands_against_the_motion_are_said(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    log = traced(lift, tmp_path)
    turned = {role: -v if role is Role.COMMAND else v for role, v in log.values.items()}
    said = " ".join(cautions(fit_logs([replace(log, values=turned)], lift)))
    assert "does not explain these moves" in said
    assert "went against their command" in said


def test_a_key_that_is_not_there_is_put_under_its_section(example: Lift) -> None:
    text = "[lift]\nname = \"x\"\n\n[[sensor]]\nname = 'bottom'\nmount_mm = 3 # old\n"
    changes = {
        "lift.friction_n": Change(4.25, "measured"),
        "sensor.bottom.mount_mm": Change(5.5, "measured"),
        "battery.resistance_ohm": Change(0.1, "measured"),
    }
    tables = tomllib.loads(edited(text, example, changes))
    assert tables["lift"]["friction_n"] == 4.25
    assert tables["sensor"][0]["mount_mm"] == 5.5
    assert tables["battery"]["resistance_ohm"] == 0.1
    assert "was 3 (old)" in edited(text, example, changes)


def test_a_lift_file_in_another_form_is_refused_not_spoilt(duty_file: Path, log_file: Path) -> None:
    text = duty_file.read_text(encoding="utf-8")
    battery = "[battery]\nopen_circuit_v = 13.0\n"
    assert battery in text
    duty_file.write_text(
        "battery = { open_circuit_v = 13.0 }\n" + text.replace(battery, ""), encoding="utf-8"
    )
    lift = load_lift(duty_file)
    from replay.reading import read_log

    found = fit_logs([read_log(log_file).scaled(lift.drive.mm_per_count)], lift)
    with pytest.raises(InputError, match=r"valid TOML|line of its own|cannot be put"):
        fitted_text(found)


@needs_datasets
@pytest.mark.parametrize("lift_file", LIFTS, ids=lambda path: path.name[:3])
def test_practice_logs(lift_file: Path, tmp_path: Path) -> None:
    """Another simulator with other physics: no crash, a lift file that loads, and most moves explained."""
    truth = json.loads((PRACTICE / "truth.json").read_text())[lift_file.name.removesuffix(".lift.toml")]
    new = tmp_path / "new.toml"
    result = run(PRACTICE / truth["log"], "--lift", lift_file, "--out", new, "--json", "-")
    document = json.loads(result.stdout)
    load_lift(new)
    if truth["cause"] == "drive_sign":  # commands against the motion: no lift explains them, and that is said
        assert any("does not explain these moves" in each for each in document["cautions"])
    else:
        assert document["fit_error_mm_rms"] < 4.0
        assert document["moves_used"] >= 4
