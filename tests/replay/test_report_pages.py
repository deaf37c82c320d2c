"""Page and notebook entry of real diagnoses: whole, escaped, and the same from the same log."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matchrun import match_log

import replay
from replay.diagnosis import Cause
from replay.report import Analysis, analyse, write_report
from replay.report.figures import pictures_of
from replay.report.figures.timeline import telling
from replay.report.rows import likely
from replay.summary import Summary
from replay.what_if import WhatIf, WhatIfs

NASTY = '<script>alert("x")</script>&$x_1$'


def _analysis(folder: Path, cause: Cause | None, seed: int = 1) -> Analysis:
    match = match_log(cause, seed)
    found = replay.diagnose(match.log(folder), limit_mm=match.limit)
    study = None
    if found.bad_visit is not None:
        was = WhatIf("as it was", 30.0, 20.0, 40.0, False)
        changes = (
            WhatIf("slower approach", 4.0, 1.0, 7.0, True),
            WhatIf("return string", 30.0, 20.0, 40.0, False),
            WhatIf("shorter loop", 14.0, 2.0, 26.0, None),
        )
        study = WhatIfs(was, 1.5, changes)
    return analyse(Summary.of(found.log), found, None, study)


@pytest.fixture(scope="module")
def late(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return _analysis(tmp_path_factory.mktemp("log"), Cause.LATE_LOOP)


@pytest.fixture(scope="module")
def healthy(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return _analysis(tmp_path_factory.mktemp("log"), None)


def test_every_section_is_filled(late: Analysis, tmp_path: Path) -> None:
    page = write_report([late], {}, tmp_path).read_text(encoding="utf-8")
    for words in ("OVERRUN", "late loop", "Stop budget", "prevented", "cannot say", "Test that would decide"):
        assert words in page, words
    assert page.index("never a certificate") < page.index("The visit in question")
    assert page.count("never a certificate") >= 2
    assert {each.name for each in pictures_of(late)} == {"visit", "budget", "what_if", "edges", "timeline"}
    assert len(re.findall(r"<svg", page)) == 5


def test_identifiers_are_unique(late: Analysis, healthy: Analysis, tmp_path: Path) -> None:
    page = write_report([late, healthy], {}, tmp_path).read_text(encoding="utf-8")
    names = re.findall(r'\bid="([^"]+)"', page)
    assert len(names) == len(set(names))
    anchors = re.findall(r'<a href="#([^"]+)"', page)
    assert set(anchors) <= set(names)
    assert "Before and after" in page


def test_links_lead_to_files(late: Analysis, healthy: Analysis, tmp_path: Path) -> None:
    page = write_report([late, healthy], {}, tmp_path).read_text(encoding="utf-8")
    links = re.findall(r'<a href="([^"#]+)"', page)
    assert links
    assert all((tmp_path / link).is_file() for link in links)


def test_a_healthy_log_has_nothing_to_prevent(healthy: Analysis, tmp_path: Path) -> None:
    page = write_report([healthy], {}, tmp_path).read_text(encoding="utf-8")
    assert "NO OVERRUN" in page
    assert "There is nothing to prevent" in page
    sheet = next(tmp_path.glob("*notebook.html")).read_text(encoding="utf-8")
    assert "Nothing unusual was found" in sheet


def test_the_notebook_entry_leaves_the_decision(late: Analysis, tmp_path: Path) -> None:
    write_report([late], {}, tmp_path)
    sheet = next(tmp_path.glob("*notebook.html")).read_text(encoding="utf-8")
    places = [sheet.index(f"<h2>{word}") for word in ("Problem", "Evidence", "Options", "Decision", "Test")]
    assert places == sorted(places)
    assert "slower approach" in sheet
    assert re.search(
        r"<h2>Decision and reason</h2>\s*<div class=\"lines\"><div></div><div></div></div>", sheet
    )
    assert "http" not in sheet.replace("http://www.w3.org", "")


def test_words_of_the_log_are_escaped(late: Analysis, tmp_path: Path) -> None:
    found = late.diagnosis
    log = replace(found.log, source=f"{NASTY}.csv")
    finding = replace(found.findings[0], for_=(NASTY,), next_test=NASTY)
    nasty = replace(found, log=log, findings=(finding,), reason=NASTY, notes=(NASTY,))
    analysis = replace(late, summary=Summary.of(log), diagnosis=nasty)
    write_report([analysis], {}, tmp_path)
    for path in tmp_path.glob("*.html"):
        assert "<script" not in path.read_text(encoding="utf-8")


def test_the_same_log_gives_the_same_files(late: Analysis, tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_report([late], {}, tmp_path / name)
    for path in (tmp_path / "one").iterdir():
        one, two = (each.read_bytes() for each in (path, tmp_path / "two" / path.name))
        assert one == two, path.name


def test_no_cause_is_certain(late: Analysis) -> None:
    assert likely(replace(late.diagnosis.findings[0], score=0.9999)) == "over 99 %"


def test_a_long_curve_keeps_its_extremes() -> None:
    values = np.sin(np.linspace(0.0, 60.0, 1_000_003))
    values[777_777] = 9.0
    kept = telling(values)
    assert len(kept) < 20_000
    assert 777_777 in kept
    assert values[kept].min() == values.min()
    flags = np.full(500_000, np.nan)
    flags[123_456] = 1.0
    assert {123_456, 123_457} <= set(telling(flags).tolist())


def _words(page: str) -> str:
    """What a reader sees of a page: text and figures' labels, without styles and embedded pictures."""
    bare = re.sub(r"<style.*?</style>|<script.*?</script>|data:[^\"')]*", " ", page, flags=re.S)
    return re.sub(r"<[^>]+>", " ", bare)


@pytest.mark.parametrize("cause", [Cause.LATE_LOOP, None])
def test_a_log_without_a_scale_is_shown_in_counts(cause: Cause | None, tmp_path: Path) -> None:
    """No working scale and no missing number comes through to the page, in words or in figures."""
    match = match_log(cause, 1)
    found = replay.diagnose(match.log(tmp_path, scaled=False))
    assert not found.scaled
    page = write_report([analyse(Summary.of(found.log), found)], {}, tmp_path).read_text(encoding="utf-8")
    words = _words(page)
    assert "counts" in words
    assert not re.findall(r"\b(?:units|of 400|nan|NaN|inf|None(?! of))\b", words)
    assert not re.findall(r"\d mm\b|\[mm", words)


def test_logs_without_a_scale_are_compared_without_lengths(tmp_path: Path) -> None:
    analyses = []
    for seed in (1, 2):
        folder = tmp_path / str(seed)
        folder.mkdir()
        found = replay.diagnose(match_log(None, seed).log(folder, scaled=False))
        analyses.append(analyse(Summary.of(found.log), found))
    words = _words(write_report(analyses, {}, tmp_path).read_text(encoding="utf-8"))
    assert "cannot be said without a scale in mm" in words
    assert "approach speed differs" not in words
    assert not re.findall(r"\b(?:units|of 400|nan|NaN|inf|None(?! of))\b", words)
    assert not re.findall(r"\d mm\b|\[mm", words)
