"""The page of ``replay --out``: whole, self-contained, and with the log's own text escaped."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from homing.cli import run

HEADER = "time_ms,counts,command,sensor,state\n"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Three quiet visits of an invented lift: out by 2000 counts and back in onto its sensor."""
    rows = []
    for i in range(900):
        phase = i % 300
        counts = round(1000 - 1000 * math.cos(2 * math.pi * phase / 300))
        command = 0.4 * math.sin(2 * math.pi * phase / 300)
        rows.append(f"{20 * i},{counts},{command:.3f},{int(counts < 60)},<b>down</b>")
    file = tmp_path / "visits.csv"
    file.write_text(HEADER + "\n".join(rows) + "\n")
    return file


def test_the_page_stands_alone(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "report"
    assert run(["replay", str(log), "--out", str(folder)]) == 0
    page = (folder / "index.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "never a certificate" in page
    assert page.count("<svg") >= 2
    names = {each.name for each in folder.iterdir()}
    assert {"index.html", "replay.json", "visits_timeline.png", "visits_timeline.svg"} <= names
    assert "report: " in capsys.readouterr().err


def test_text_of_the_log_is_escaped(log: Path, tmp_path: Path) -> None:
    assert run(["replay", str(log), "--out", str(tmp_path / "report"), "--quiet"]) == 0
    page = (tmp_path / "report" / "index.html").read_text(encoding="utf-8")
    assert "<b>down</b>" not in page


def test_two_logs_are_compared(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["replay", str(log), str(log)]) == 0
    said = capsys.readouterr().out
    assert "before and after" in said
    assert "no proven change" in said  # the same log twice
