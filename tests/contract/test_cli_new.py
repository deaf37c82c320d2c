"""``downstop new``: a starter file that verifies, and what to log."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from homing.assembly import assemble
from homing.cli import run
from homing.liftfile import load_lift, parse
from homing.starter import COLUMNS, starter_text

_OPTIONAL = re.compile(r"^# ([a-z_0-9]+ = .+)$", re.MULTILINE)


def test_the_starter_verifies(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "my_lift.toml"
    assert run(["new", str(file)]) == 0
    assert f"downstop verify {file}" in capsys.readouterr().out
    assert run(["verify", str(file), "--runs", "300", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "pass"


def test_nothing_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "lift.toml"
    file.write_text("mine")
    assert run(["new", str(file)]) == 2
    assert "nothing is overwritten" in capsys.readouterr().err
    assert file.read_text() == "mine"


def test_optional_lines_show_what_is_assumed_without_them(tmp_path: Path) -> None:
    text = starter_text()
    assert len(_OPTIONAL.findall(text)) >= 9
    plain = assemble(parse(text, "starter"), "starter")
    full = assemble(parse(_OPTIONAL.sub(r"\1", text), "starter"), "starter")
    assert full.quantities() == pytest.approx(plain.quantities(), rel=0.01)
    assert len(full.assumed) < len(plain.assumed)


def test_the_starter_explains_every_key_that_is_required(tmp_path: Path) -> None:
    file = tmp_path / "starter.toml"
    file.write_text(starter_text())
    assert not load_lift(file).notes


def test_log_columns_are_printed_with_rate_and_stub(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["new", "--log-columns"]) == 0
    said = capsys.readouterr().out
    assert [column.name for column in COLUMNS if column.name not in said] == []
    assert "every pass of the" in said
    assert "time_ms,counts,command,sensor,battery_v,current_a,state,target" in said


def test_replay_recognises_the_columns_it_was_told_to_log(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "log.csv"
    header = ",".join(column.name for column in COLUMNS)
    rows = [f"{20 * row},{1000 - row},-0.2,{int(row > 90)},12.5,1.5,coming_in,0" for row in range(100)]
    log.write_text("\n".join([header, *rows]) + "\n")
    assert run(["replay", str(log), "--json", "-"]) == 0
    roles = json.loads(capsys.readouterr().out)["log"]["roles"]
    assert {"time", "counts", "command", "sensor", "battery_v", "current_a", "state", "target"} <= set(roles)
