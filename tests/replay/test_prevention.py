"""From an overrun in a log to what would have prevented it, through the command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from replay.commands import replay

PRACTICE = Path(__file__).parents[3] / "shared" / "datasets" / "practice"
LOG, LIFT = PRACTICE / "p02_log.csv", PRACTICE / "p02_log.lift.toml"

pytestmark = pytest.mark.skipif(not LOG.exists(), reason="the practice logs are not beside the checkout")


def document(*arguments: str) -> dict[str, object]:
    result = CliRunner().invoke(replay, [str(LOG), *arguments, "--json", "-"], standalone_mode=False)
    assert result.exception is None
    found: dict[str, object] = json.loads(result.stdout)
    return found


def test_changes_are_tried_one_at_a_time() -> None:
    found = document("--lift", str(LIFT))
    changes = found["what_if"]
    assert isinstance(changes, list)
    assert len(changes) >= 4
    for each in changes:
        assert each["low"] <= each["overtravel_mm"] <= each["high"]
        assert each["prevented"] in (True, False, None)
    # the true cause is a late loop: a loop that is never late must prevent it
    assert [each["prevented"] for each in changes if "never late" in each["change"]] == [True]


def test_the_models_own_error_is_told() -> None:
    was = document("--lift", str(LIFT))["as_it_was"]
    assert isinstance(was, dict)
    assert abs(was["model_error_mm"]) < 10.0


def test_without_a_lift_file_nothing_is_simulated(tmp_path: Path) -> None:
    from homing.liftfile import load_lift

    log = load_lift(LIFT).log
    assert log is not None
    columns = tmp_path / "columns.toml"
    text = LIFT.read_text()
    columns.write_text(text[text.index("[log]") :])
    found = document("--columns", str(columns))
    assert found["what_if"] == []
    assert found["verdict"] == "overrun"


def test_the_text_warns_before_the_lift_moves_again() -> None:
    result = CliRunner().invoke(replay, [str(LOG), "--lift", str(LIFT)], standalone_mode=False)
    assert "what would have prevented it" in result.stdout
    assert "never a certificate" in result.stdout
