"""The page of ``replay --out`` with what logs may hold: hostile words, no lift, nothing wrong, no folder."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from homing.cli import run

MAP = """[log]
time = {{ column = "t", unit = "ms" }}
counts = {{ column = "c" }}
sensor = {{ column = {sensor} }}
state = {{ column = "st" }}
"""
#: Identifiers of SVG's namespaces: names, nothing is fetched from there.
NAMESPACES = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def report(folder: Path, sensor: str = "s", state: str = "down") -> Path:
    """Report on three quiet visits of an invented lift."""
    lines = [f"t,c,{sensor},st"]
    for i in range(900):
        counts = round(1000 - 1000 * math.cos(2 * math.pi * (i % 300) / 300))
        lines.append(f"{20 * i},{counts},{int(counts < 60)},{state}")
    log, columns = folder / "log.csv", folder / "map.toml"
    log.write_text("\n".join(lines) + "\n")
    columns.write_text(MAP.format(sensor=f"'{sensor}'"))
    out = folder / "report"
    assert run(["replay", str(log), "--columns", str(columns), "--out", str(out), "--quiet"]) == 0
    return out


def test_words_of_the_log_are_escaped_where_they_are_shown(tmp_path: Path) -> None:
    page = (report(tmp_path, sensor="<script>s</script>") / "index.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;s&lt;/script&gt;" in page


@pytest.mark.parametrize(("sensor", "state"), [("s", r"$\frac{$"), (r"$\frac{$", "down")])
def test_dollar_signs_are_no_mathematics(tmp_path: Path, sensor: str, state: str) -> None:
    assert (report(tmp_path, sensor, state) / "log_timeline.svg").stat().st_size > 0


def test_nothing_is_fetched(tmp_path: Path) -> None:
    for file in report(tmp_path).glob("*.html"):
        text = file.read_text(encoding="utf-8")
        assert set(re.findall(r"https?://[^\"'<) ]*", text)) <= NAMESPACES
        assert not re.search(r"<(script|link|img|iframe)\b", text)


def test_a_quiet_log_has_no_findings_and_nothing_to_prevent(tmp_path: Path) -> None:
    out = report(tmp_path)
    page = (out / "index.html").read_text(encoding="utf-8")
    assert "Nothing unusual was found." in page
    assert "There is nothing to prevent." in page
    assert "so there is nothing to prevent" in (out / "log_notebook.html").read_text(encoding="utf-8")


def test_no_temporary_file_is_left_and_every_link_leads_somewhere(tmp_path: Path) -> None:
    out = report(tmp_path)
    assert not list(out.glob(".*"))
    page = (out / "index.html").read_text(encoding="utf-8")
    linked = set(re.findall(r'<a href="([^"#]+)"', page))
    assert linked
    assert all((out / name).is_file() for name in linked)


def test_a_folder_that_cannot_be_is_refused(tmp_path: Path) -> None:
    out = report(tmp_path)
    assert run(["replay", str(tmp_path / "log.csv"), "--out", str(out / "index.html"), "--quiet"]) == 2
