"""A tuning told: JSON of the contract, terminal, page and pictures."""

from __future__ import annotations

import io
import json
import math
import os
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from tuningcases import BAD, example_text, lift_of

from homing.report.jsonform import to_text
from homing.report.tune_json import tuning_json
from homing.report.tune_page import write_tune_report
from homing.report.tune_rows import (
    compared_rows,
    headline,
    rough,
    search_line,
    setting_rows,
)
from homing.report.tune_terminal import show_tuning
from homing.report.tune_words import SETTINGS
from homing.tuning.newfile import tuned_text
from homing.tuning.results import Tuning

PICTURES = ("front", "before_after", "drift")


def document(tuning: Tuning) -> dict[str, Any]:
    return json.loads(to_text(tuning_json(tuning, Path("new.toml"))))  # type: ignore[no-any-return]


def test_json_has_the_keys_of_the_contract(mended: Tuning) -> None:
    told = document(mended)
    assert told["settings"] == dict(mended.settings)
    for point in told["front"]:
        assert {"settings", "time_to_zero_s", "overtravel_mm_p99", "margin"} <= set(point)
        assert set(point["settings"]) == set(told["settings"])
    assert told["before"]["verdict"] == "fail"
    assert told["after"]["verdict"] == told["verdict"] == "pass"
    assert told["after"]["margin"] == mended.after.point.margin
    assert told["promised"]["margin"] == mended.chosen.margin
    assert sum(told["after"]["outcomes"].values()) == told["runs"] == 1000
    assert told["evaluations"] == mended.evaluations
    assert told["new_lift_file"] == "new.toml"
    assert told["blocking"] is None
    assert isinstance(told["settings"]["agree_readings"], int)


def test_json_of_a_miss_names_what_blocks(missed: Tuning) -> None:
    told = document(missed)
    assert told["verdict"] == "fail"
    assert told["blocking"] == "time_to_zero_s"
    assert told["front"] == []
    assert told["after"]["verdict"] == "fail"


def test_words_say_what_is_active_and_what_blocks(mended: Tuning, missed: Tuning) -> None:
    margin = f"{100 * mended.after.point.margin:.0f} %"
    assert margin in headline(mended)
    assert "These settings hold all 8 requirements on 1000 fresh runs" in headline(mended)
    assert "time to zero blocks" in headline(missed)
    assert "limit of 1.00 s" in headline(missed)
    assert f"{mended.evaluations} trials" in search_line(mended)
    assert [row.active for row in compared_rows(mended)].count(True) == 1
    assert any(row.before_verdict == "FAILS" for row in compared_rows(mended))


def test_every_setting_has_words_and_its_origin(mended: Tuning) -> None:
    rows = setting_rows(mended)
    assert len(rows) == len(mended.settings)
    assert set(mended.settings) <= set(SETTINGS)
    by_rule = {row.title for row in rows if row.how.startswith("by rule")}
    assert by_rule == {"time-out", "travel guard", "no-motion time"}
    assert all(row.how in ("searched",) or row.title in by_rule for row in rows)


@pytest.mark.parametrize(
    ("value", "text"), [(2085.0, "2080"), (0.0371, "0.0371"), (97.4949, "97.5"), (5, "5")]
)
def test_three_figures_without_powers(value: float, text: str) -> None:
    assert rough(value) == text


def test_the_terminal_stays_within_a_hundred_columns(mended: Tuning, missed: Tuning) -> None:
    for tuning, written in ((mended, Path("new.toml")), (missed, None)):
        stream = io.StringIO()
        show_tuning(tuning, written, Console(file=stream, width=100))
        text = stream.getvalue()
        assert max(map(len, text.splitlines())) <= 100
        assert text.startswith("FOUND" if tuning.found else "NONE")
        assert ("Wrote new.toml" in text) is (written is not None)
        assert "never certifies" in " ".join(text.split())


class _Reader(HTMLParser):
    void = frozenset({"meta", "link", "br", "img", "path", "rect", "line", "use"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in self.void:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.void:
            assert self.open.pop() == tag


@pytest.mark.parametrize("which", ["mended", "missed"])
def test_the_page_is_whole_and_fetches_nothing(
    which: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    tuning: Tuning = request.getfixturevalue(which)
    page = write_tune_report(tuning, tmp_path / "report", Path("a<b>.toml") if tuning.found else None)
    names = [name for name in PICTURES if tuning.found or name != "drift"]
    files = {f"{name}.{suffix}" for name in names for suffix in ("png", "svg")}
    assert set(os.listdir(page.parent)) == files | {"index.html"}
    text = page.read_text(encoding="utf-8")
    reader = _Reader()
    reader.feed(text)
    assert reader.open == []
    assert not {"script", "link", "img", "iframe"} & {tag for tag, _ in reader.seen}
    for _, attributes in reader.seen:
        target = attributes.get("href") or "#"
        assert target.startswith("#") or re.fullmatch(r"[a-z_]+\.(png|svg)", target)
    identities = [attributes["id"] for _, attributes in reader.seen if "id" in attributes]
    assert len(set(identities)) == len(identities)
    assert "a<b>" not in text
    assert "never a certificate" in text
    assert f"--evaluations {tuning.evaluations}" in text


def test_the_new_file_is_the_old_one_with_the_settings(mended: Tuning) -> None:
    old = example_text(BAD)
    new = tuned_text(mended, old)
    lift = lift_of(new)
    assert {key: getattr(lift.routine, key) for key in mended.settings} == dict(mended.settings)
    assert lift.given == mended.after.lift.given
    assert "; as fast as it goes" in new
    head = new[: new.index("# A mast")]
    assert all(line.startswith("#") or not line for line in head.splitlines())
    for word in ("soft block", "low power", "hands off", "short travel", "never certifies"):
        assert word in head
    kept = [line for line in old.splitlines() if line.split(" ")[0] not in mended.settings]
    assert [line for line in new[len(head) :].splitlines() if line in kept] == kept


def test_nothing_in_the_result_is_missing_silently(mended: Tuning) -> None:
    for requirement in document(mended)["after"]["requirements"]:
        assert math.isfinite(requirement["relative_margin"])
    assert len(document(mended)["after"]["faults"]) >= 20
