"""Text of a log or lift file never becomes markup, mathematics, a template or a broken line in the report."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from homing.cli import run

HOSTILE = {
    "script": "<script>alert(1)</script>",
    "attribute": "x\" onload='alert(1)' x=\"y",
    "mathematics": r"$\frac{a}{b}$ $x_$ $",
    "backslash": "\\alpha\\n C:\\temp\\",
    "template": "{{ 7 * 7 }}{% raw %}",
    "long": "hoch" * 400,
    "right to left": "\u202emotsnwod \u05d0\u05d1\u05d2",
    "control": "up\x07\x1b[31m\x0bdown",
    "comment": "--><!-- ]]>",
}
ROWS_A_VISIT, VISITS, COUNTS_TO_TOP = 150, 3, 2000


def hostile_log(folder: Path, text: str, *, overrun: bool) -> Path:
    """Visits of an invented lift; ``text`` heads the command column and is one of the states."""
    rows = []
    for i in range(ROWS_A_VISIT * VISITS):
        phase = i % ROWS_A_VISIT / ROWS_A_VISIT
        height = round(COUNTS_TO_TOP * math.sin(math.pi * phase))
        last = overrun and i > ROWS_A_VISIT * (VISITS - 0.05)
        command = 0.5 * math.cos(math.pi * phase)
        record = {"time_ms": 20 * i, "counts": height - (400 if last else 0), f"cmd {text}": command}
        rows.append(record | {"sensor": int(height < 60), "state": text if phase > 0.5 else "out"})
    file = folder / "log.jsonl"
    file.write_text("\n".join(json.dumps(each) for each in rows) + "\n", encoding="utf-8")
    return file


def column_map(folder: Path, text: str) -> Path:
    file = folder / "map.toml"
    heading = json.dumps(f"cmd {text}").replace("\x7f", "\\u007f")
    file.write_text(
        '[log]\ntime = { column = "time_ms", unit = "ms" }\ncounts = { column = "counts" }\n'
        f'command = {{ column = {heading}, unit = "fraction" }}\n'
        'sensor = { column = "sensor" }\nstate = { column = "state" }\nmm_per_count = 0.2\n',
        encoding="utf-8",
    )
    return file


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_the_report_takes_it_as_words(tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    log = hostile_log(tmp_path, text, overrun=True)
    folder = tmp_path / "report"
    arguments = ["replay", str(log), "--columns", str(column_map(tmp_path, text)), "--out", str(folder)]
    assert run(arguments) == 0
    capsys.readouterr()
    pages = [path.read_text(encoding="utf-8") for path in folder.glob("*.html")]
    assert len(pages) == 2
    for page in pages:
        assert "<script" not in page
        assert not re.search(r"<[^>]*\sonload=", page)
        assert "{{ 7 * 7 }}" in page or "49{%" not in page
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f]", page)
    for picture in folder.glob("*.svg"):
        ElementTree.fromstring(picture.read_text(encoding="utf-8"))
    json.loads((folder / "replay.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_the_terminal_shows_no_control_characters(
    tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    log = hostile_log(tmp_path, text, overrun=False)
    assert run(["replay", str(log), "--columns", str(column_map(tmp_path, text))]) == 0
    said = capsys.readouterr().out
    assert not re.search("[\x00-\x08\x0b-\x1f\u202a-\u202e\u2066-\u2069]", said)


def test_a_lift_of_that_name_is_shown_as_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from homing.starter import starter_text

    for text in HOSTILE.values():
        name = json.dumps(text)
        file = tmp_path / "lift.toml"
        lines = re.sub(r"(?m)^name = .*$", lambda _, name=name: f"name = {name}", starter_text(), count=1)  # type: ignore[misc]
        file.write_text(lines, encoding="utf-8")
        log = hostile_log(tmp_path, "down", overrun=False)
        folder = tmp_path / "report"
        mapped = ["--columns", str(column_map(tmp_path, "down"))]
        assert run(["replay", str(log), "--lift", str(file), *mapped, "--out", str(folder), "--quiet"]) == 0
        assert "<script" not in (folder / "index.html").read_text(encoding="utf-8")
    capsys.readouterr()
