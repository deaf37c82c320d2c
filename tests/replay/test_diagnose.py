"""The diagnosis as a whole: values, budget, text, JSON, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from logfiles import up_and_down, write
from matchrun import match_log

import replay
from replay.commands import replay as command
from replay.diagnosis import Cause, Part, Verdict
from replay.diagnosis_text import diagnosis_text
from replay.jsonform import diagnosis_parts
from replay.summary import Summary
from sensor_models.errors import InputError

VISIT_KEYS = {"t_s", "row", "approach_speed_mm_s", "edge_mm", "overtravel_mm", "made", "zeroed"}
FINDING_KEYS = {
    "cause",
    "score",
    "t_s",
    "rows",
    "for",
    "against",
    "effects",
    "contribution_mm",
    "next_test",
}


@pytest.fixture
def late(tmp_path: Path) -> replay.Diagnosis:
    match = match_log(Cause.LATE_LOOP, 1)
    return replay.diagnose(match.log(tmp_path), limit_mm=match.limit)


def test_the_public_call(late: replay.Diagnosis) -> None:
    assert late.verdict is Verdict.OVERRUN
    assert late.bad_visit is not None
    assert late.bad_visit.overtravel > late.limit_mm
    assert late.findings[0].cause is Cause.LATE_LOOP
    assert late.findings[0].for_
    first, last = late.findings[0].rows
    assert first <= last


def test_the_budget_adds_up_to_the_overtravel(late: replay.Diagnosis) -> None:
    assert late.bad_visit is not None
    assert sum(part.mm for part in late.budget) == pytest.approx(late.bad_visit.overtravel, abs=0.01)
    assert Part.LATE_LOOP in {part.part for part in late.budget}
    assert all(part.low <= part.mm <= part.high for part in late.budget)


def test_a_late_loop_is_answerable_for_its_part_of_the_budget(late: replay.Diagnosis) -> None:
    assert late.bad_visit is not None
    part = next(part for part in late.budget if part.part is Part.LATE_LOOP)
    assert late.findings[0].contribution_mm == pytest.approx(part.mm)
    assert part.high < 1.1 * late.bad_visit.overtravel
    assert all(each.low >= 0.0 for each in late.budget)


def test_a_late_reading_leaves_the_edge_where_it_was(tmp_path: Path) -> None:
    """The trip of a visit that was read late comes from the others, and so do its bounds."""
    match = match_log(Cause.STALE_READING, 0)
    found = replay.diagnose(match.log(tmp_path), limit_mm=match.limit)
    bad = found.bad_visit
    assert bad is not None
    assert bad.edge_low <= bad.edge <= bad.edge_high
    assert bad.edge_doubt < 3.0
    assert bad.overtravel == pytest.approx(match.overtravel, abs=max(2.0, 0.1 * match.overtravel))


def test_the_text_says_the_verdict_first(late: replay.Diagnosis) -> None:
    text = diagnosis_text(late)
    assert text.startswith("OVERRUN: visit ")
    for words in ("late loop", "+ rows", "test to decide", "stop budget", "edge position"):
        assert words in text


def test_the_document_is_the_contract(late: replay.Diagnosis) -> None:
    document = json.loads(json.dumps(diagnosis_parts(late, Summary.of(late.log)), allow_nan=False))
    assert document["verdict"] == "overrun"
    assert all(set(visit) >= VISIT_KEYS for visit in document["visits"])
    assert all(set(finding) >= FINDING_KEYS for finding in document["findings"])
    assert sum(finding["score"] for finding in document["findings"]) <= 1.0
    assert document["what_if"] == []


def test_without_a_scale_mm_keys_are_null(tmp_path: Path) -> None:
    match = match_log(Cause.LATE_LOOP, 1)
    found = replay.diagnose(match.log(tmp_path, scaled=False))
    assert not found.scaled
    document = diagnosis_parts(found, Summary.of(found.log))
    assert document["visits"]
    for visit in document["visits"]:
        assert all(value is None for key, value in visit.items() if "_mm" in key)
        assert visit["overtravel_counts"] is not None
        assert visit["edge_counts"] is not None
    assert document["stop_budget_mm"] is None
    assert document["stop_budget_counts"]
    assert any("no scale" in note for note in found.notes)


def test_nothing_to_tell(tmp_path: Path) -> None:
    found = replay.diagnose(replay.read_log(write(tmp_path, up_and_down().text())))
    assert found.verdict is Verdict.CANNOT_TELL
    assert [each.cause for each in found.findings] == [Cause.CANNOT_TELL]
    assert "sensor" in found.findings[0].for_[0]


@pytest.mark.parametrize("seed", range(30))
def test_no_log_is_too_odd(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(2, 250))
    counts = [
        np.zeros(rows),
        np.cumsum(rng.integers(-50, 50, rows)),
        rng.integers(-(10**6), 10**6, rows),
        300 * np.sin(np.arange(rows) / 20),
    ][seed % 4]
    stamps = np.cumsum(rng.choice([20, 20, 20, 0, 500, -300], rows, p=[0.4, 0.2, 0.2, 0.1, 0.05, 0.05])) + 20
    stamps[1] = stamps[0] + 20
    text = ["t_ms,counts,limit,power,vbat,amps,mode"]
    for t, c in zip(stamps, counts, strict=True):
        cells = [str(int(rng.integers(0, 2))), f"{rng.normal():.2f}", "12", "1", "a"]
        text.append(f"{t},{int(c)}," + ",".join("" if rng.random() < 0.05 else cell for cell in cells))
    try:
        log = replay.read_log(write(tmp_path, "\n".join(text) + "\n"))
    except InputError:
        return
    found = replay.diagnose(log)
    assert diagnosis_text(found)
    json.dumps(diagnosis_parts(found, Summary.of(log)), allow_nan=False)
    assert sum(each.score for each in found.findings) <= 1.0 + 1e-9


def test_exit_code_on_overrun(tmp_path: Path) -> None:
    match = match_log(Cause.LATE_LOOP, 1)
    path = write(tmp_path, match.text)
    (tmp_path / "map.toml").write_text(
        f"""[log]
mm_per_count = {match.robot.per_count}
time = {{ column = "t", unit = "s" }}
counts = {{ column = "counts" }}
command = {{ column = "cmd", unit = "fraction" }}
sensor = {{ column = "lim" }}
state = {{ column = "mode" }}
"""
    )
    words = [str(path), "--columns", str(tmp_path / "map.toml"), "--limit", "12"]

    def code(*more: str) -> int:
        result = CliRunner().invoke(command, [*words, *more], standalone_mode=False, catch_exceptions=False)
        return int(result.return_value)

    assert code() == 0
    assert code("--fail-on-overrun") == 1
    assert code("--fail-on-overrun", "--limit", "500") == 0
