"""``downstop review``: exit codes, JSON as the contract has it, the page, the words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from flawed import flawed

from homing.cli import run
from homing.own.words import CONDITIONS, EFFECTS
from homing.report.review_json import review_json
from homing.report.review_page import write_review_report
from homing.report.review_text import case_line, review_text
from homing.review import Review, Severity, review_setting

LIFT = """
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
[[routine.phase]]
name = "idle"
role = "start"
command = "stop"
[[routine.phase]]
name = "down"
command = {speed_mm_s = -60}
[[routine.phase]]
name = "home"
role = "zeroed"
command = "stop"
[[routine.row]]
from = "idle"
when = ["start_requested"]
to = "down"
[[routine.row]]
from = "down"
when = ["made"]
to = "home"
do = ["zero_here"]
"""


@pytest.fixture(scope="module")
def reviewed() -> Review:
    return review_setting(flawed("no time-out, no travel guard"))


def test_the_built_in_example_is_clean(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", "--quiet"]) == 0
    assert capsys.readouterr().out == "Shelving robot mast: no finding, and no invariant is broken\n"


def test_findings_give_exit_code_1_and_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lift = tmp_path / "own.toml"
    lift.write_text(LIFT, encoding="utf-8")
    assert run(["review", str(lift), "--json", "-", "--out", str(tmp_path / "page")]) == 1
    document = json.loads(capsys.readouterr().out)
    assert {"findings", "exploration"} <= set(document)
    assert set(document["findings"][0]) == {"id", "severity", "row", "why", "mend"}
    assert {"states", "transitions", "complete", "violations"} <= set(document["exploration"])
    assert {"invariant", "story", "case"} <= set(document["exploration"]["violations"][0])
    ids = {finding["id"] for finding in document["findings"]}
    assert {
        "zero while moving",
        "moves without a time-out or a travel guard",
        "faulted is never reached",
    } <= ids
    page = (tmp_path / "page" / "index.html").read_text(encoding="utf-8")
    assert "zero while moving" in page
    assert "<svg" in page


def test_unusable_input_gives_exit_code_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", str(tmp_path / "none.toml")]) == 2
    assert run(["review", "a.toml", "--lift", "b.toml"]) == 2
    assert run(["review", "--json", str(tmp_path / "no" / "folder.json")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 3
    assert all(line.startswith("downstop: ") for line in lines)


def test_words_prints_every_condition_and_effect(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", "--words"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert all(each.word in text and each.means in text for each in CONDITIONS)
    assert all(each.word in text and each.means in text for each in EFFECTS)


def test_the_text_tells_findings_stories_and_the_run(reviewed: Review) -> None:
    text = review_text(reviewed)
    flat = " ".join(text.split())
    assert "DANGER phase down: moves without a time-out or a travel guard" in flat
    assert "BROKEN no phase moves further" in flat
    assert "The full simulation does the same" in flat
    assert max(map(len, text.splitlines())) <= 110
    assert "No run of the full simulation was found" in case_line(None)


def test_json_is_plain(reviewed: Review) -> None:
    document = json.loads(json.dumps(review_json(reviewed), allow_nan=False))
    severities = {finding["severity"] for finding in document["findings"]}
    assert severities <= {severity.value for severity in Severity}
    assert document["exploration"]["states"] == reviewed.exploration.states


def test_the_page_holds_table_stories_and_what_holds(reviewed: Review, tmp_path: Path) -> None:
    page = write_review_report(reviewed, tmp_path).read_text(encoding="utf-8")
    assert "The table in words" in page
    assert "idle (start; stop, held)" in page
    assert "zero is set standing" in page
    assert "wound on the wrong way" in page
    assert sorted(path.name for path in tmp_path.iterdir()) == ["index.html", "routine.png", "routine.svg"]
