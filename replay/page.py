"""The report of ``replay --out``: one HTML page with pictures inside, the pictures as files, and the JSON."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from homing.report.figures.style import png, svg
from homing.report.files import write_files
from homing.report.jsonform import program_version, to_text
from replay.figures import overview
from replay.summary import NOT_YET, Summary, log_text

INDEX = "index.html"


@dataclass(frozen=True)
class Sheet:
    """One log on the page."""

    title: str
    name: str
    svg: str
    text: str


def write_report(summaries: Sequence[Summary], document: dict[str, Any], folder: str | Path) -> Path:
    """Write page, pictures and JSON into a folder, whole or not at all.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    contents: dict[str, bytes] = {}
    sheets = []
    for summary, name in zip(summaries, _names(summaries), strict=True):
        made = overview(summary.log)
        picture = svg(made, name)
        contents[f"{name}.png"] = png(made)
        contents[f"{name}.svg"] = picture.encode()
        sheets.append(Sheet(summary.log.source, name, picture, log_text(summary)))
    environment = Environment(
        loader=PackageLoader("replay", "."), undefined=StrictUndefined, autoescape=True, trim_blocks=True
    )
    css = files("homing.report").joinpath("page.css").read_text(encoding="utf-8")
    page = environment.get_template("page.html").render(
        sheets=sheets, css=css, version=program_version(), not_yet=NOT_YET
    )
    contents["replay.json"] = to_text(document).encode()
    contents[INDEX] = page.encode()
    return write_files(folder, contents, key="--out").resolve() / INDEX


def _names(summaries: Sequence[Summary]) -> list[str]:
    """A name for each log's pictures that fits a file and is not used twice."""
    names: list[str] = []
    for summary in summaries:
        stem = re.sub(r"[^0-9A-Za-z_-]+", "_", Path(summary.log.source).stem) or "log"
        names.append(stem if stem not in names else f"{stem}_{len(names) + 1}")
    return names
