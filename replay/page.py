"""The report of ``replay --out``: one HTML page with pictures inside, the pictures as files, and the JSON."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from homing.report.cautions import cautions
from homing.report.figures.style import png, svg
from homing.report.files import write_files
from homing.report.jsonform import program_version, to_text
from replay.diagnosis_text import diagnosis_text
from replay.report.analysis import Analysis
from replay.report.figures import Picture, pictures_of
from replay.summary import Summary, log_text
from replay.what_if_report import what_if_text

INDEX = "index.html"


@dataclass(frozen=True)
class Drawn:
    """A picture on the page and the name of its files."""

    name: str
    svg: str
    caption: str


@dataclass(frozen=True)
class Sheet:
    """One log on the page: what was found, drawn, and what the log itself is."""

    title: str
    found: str
    pictures: tuple[Drawn, ...]
    what_if: str
    routine: tuple[str, ...]
    text: str


def write_report(analyses: Sequence[Analysis], document: dict[str, Any], folder: str | Path) -> Path:
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
    for analysis, name in zip(analyses, _names([each.summary for each in analyses]), strict=True):
        drawn = []
        for picture in pictures_of(analysis):
            drawn.append(_drawn(picture, f"{name}_{picture.name}"))
            contents[f"{drawn[-1].name}.png"] = png(picture.figure)
            contents[f"{drawn[-1].name}.svg"] = drawn[-1].svg.encode()
        sheets.append(_sheet(analysis, tuple(drawn)))
    environment = Environment(
        loader=PackageLoader("replay", "."), undefined=StrictUndefined, autoescape=True, trim_blocks=True
    )
    css = files("homing.report").joinpath("page.css").read_text(encoding="utf-8")
    page = environment.get_template("page.html").render(
        sheets=sheets, css=css, version=program_version(), cautions=cautions()
    )
    contents["replay.json"] = to_text(document).encode()
    contents[INDEX] = page.encode()
    return write_files(folder, contents, key="--out").resolve() / INDEX


def _drawn(picture: Picture, name: str) -> Drawn:
    return Drawn(name, svg(picture.figure, name), picture.caption)


def _sheet(analysis: Analysis, pictures: tuple[Drawn, ...]) -> Sheet:
    routine = analysis.routine
    return Sheet(
        title=analysis.summary.log.source,
        found=diagnosis_text(analysis.diagnosis),
        pictures=pictures,
        what_if="" if analysis.what_ifs is None else what_if_text(analysis.what_ifs),
        routine=(*(each.words for each in routine.differences), *routine.notes),
        text=log_text(analysis.summary),
    )


def _names(summaries: Sequence[Summary]) -> list[str]:
    """A name for each log's pictures that fits a file and is not used twice."""
    names: list[str] = []
    for summary in summaries:
        stem = re.sub(r"[^0-9A-Za-z_-]+", "_", Path(summary.log.source).stem) or "log"
        names.append(stem if stem not in names else f"{stem}_{len(names) + 1}")
    return names
