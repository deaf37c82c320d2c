"""The example with a routine of its own: every command takes it like the built-in one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from homing.cli import run
from homing.kernel.codes import Condition
from homing.liftfile import load_lift
from homing.setting import prepare

EXAMPLE = Path(__file__).parents[2] / "examples" / "shelving_robot" / "own_routine.toml"


@pytest.mark.slow
def test_it_verifies_with_report_and_trace(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, trace = tmp_path / "report", tmp_path / "trace.csv"
    assert run(["verify", str(EXAMPLE), "--out", str(out), "--trace", str(trace), "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["nominal"]["outcome"] == "zeroed"
    page = (out / "index.html").read_text()
    assert "the edge was here a moment ago" in page
    assert (out / "checklist.html").exists()
    assert run(["replay", str(trace), "--lift", str(EXAMPLE), "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "no_overrun"


def test_the_review_has_nothing_against_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", str(EXAMPLE), "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["findings"] == []
    assert found["exploration"]["complete"] is True
    assert found["exploration"]["violations"] == []


@pytest.mark.parametrize("form", ["table", "json", "java", "cpp", "python"])
def test_it_is_exported(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["export", str(EXAMPLE), "--as", form]) == 0
    assert "creep" in capsys.readouterr().out


def test_it_asks_for_what_its_rows_say() -> None:
    table = prepare(load_lift(EXAMPLE)).table
    asked = {ask.kind for ask in table.conditions}
    assert {Condition.MADE, Condition.CLEAR_BY, Condition.MOVED_IN, Condition.EDGE_LONG_LOOP} <= asked
    assert [phase.name for phase in table.phases][:3] == ["idle", "look", "up"]
