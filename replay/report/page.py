"""The report of ``replay --out``: one HTML page, a notebook entry for each log, the pictures, the JSON.

No scripts, nothing fetched, pictures inside; words of the log are escaped by the template.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from matplotlib.figure import Figure

from homing.report.cautions import CAUTIONS
from homing.report.figures.style import png, svg
from homing.report.files import write_files
from homing.report.jsonform import program_version, to_text
from homing.report.numbers import percent
from replay.compare_logs import Comparisons, compare_logs
from replay.plain_text import visible
from replay.report import rows
from replay.report.analysis import Analysis
from replay.report.figures import pictures_of
from replay.report.figures.compare import comparison
from replay.report.notebook import entry
from replay.summary import log_text

INDEX = "index.html"
#: Takes the place of the caution about simulations.
ADVICE = (
    "This is advice from a log and a model, never a certificate: what was not logged was not seen, a likely "
    "cause is not a proven one, and the real lift has to be tested after every change."
)


@dataclass(frozen=True)
class Drawn:
    """A picture as it stands on the page, and the stem of its files."""

    file: str
    caption: str
    svg: str


def write_report(analyses: Sequence[Analysis], document: dict[str, Any], folder: str | Path) -> Path:
    """Write page, notebook entries, pictures and JSON into a folder, whole or not at all.

    Parameters
    ----------
    analyses : sequence of Analysis
        One a log; two or more are compared with the first.
    document : dict
        What ``--json`` gives, written beside the page.
    folder : str or Path

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
    environment = _environment()
    sheets = []
    for analysis, name in zip(analyses, _names(analyses), strict=True):
        drawn = {}
        for picture in pictures_of(analysis):
            file = f"{name}_{picture.name}"
            drawn[picture.name] = _keep(contents, file, picture.figure, picture.caption)
        notebook = f"{name}_notebook.html"
        contents[notebook] = entry(environment, analysis).encode()
        sheets.append(_sheet(analysis, name, drawn, notebook))
    compared = compare_logs([each.diagnosis for each in analyses]) if len(analyses) > 1 else None
    context = _shared() | _comparison(contents, compared)
    page = environment.get_template("page.html").render(sheets=sheets, **context)
    contents["replay.json"] = to_text(document).encode()
    contents[INDEX] = page.encode()
    return write_files(folder, contents, key="--out").resolve() / INDEX


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("replay.report", "."),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_visible,
    )


def _visible(value: Any) -> Any:
    """Words without control characters, which no page may hold; markup of ours stays as it is."""
    return visible(value) if type(value) is str else value


def _shared() -> dict[str, Any]:
    look = files("homing.report").joinpath("page.css").read_text(encoding="utf-8")
    own = files("replay.report").joinpath("page.css").read_text(encoding="utf-8")
    return {"css": look + own, "version": program_version(), "cautions": [ADVICE, *CAUTIONS[1:]]}


def _keep(contents: dict[str, bytes], file: str, made: Figure, caption: str) -> Drawn:
    """A picture on the page, and as files beside it."""
    element = svg(made, file)
    contents[f"{file}.png"] = png(made)
    contents[f"{file}.svg"] = ('<?xml version="1.0" encoding="utf-8"?>\n' + element).encode()
    return Drawn(file, caption, element)


def _comparison(contents: dict[str, bytes], compared: Comparisons | None) -> dict[str, Any]:
    if compared is None:
        return {"compared": None, "comparison_rows": [], "comparison_picture": None}
    picture = _keep(contents, "comparison", comparison(compared), "Each measure with its 95 % interval.")
    return {
        "compared": compared,
        "comparison_rows": rows.comparison_rows(compared),
        "comparison_picture": picture,
    }


def _sheet(analysis: Analysis, name: str, drawn: dict[str, Drawn], notebook: str) -> dict[str, Any]:
    found = analysis.shown
    shown, folded = rows.difference_rows(analysis)
    error = None if analysis.what_ifs is None else analysis.what_ifs.model_error_mm
    return {
        "name": name,
        "a": analysis,
        "d": found,
        "pictures": drawn,
        "notebook": notebook,
        "word": found.verdict.value.replace("_", " ").upper(),
        "findings": [(each, rows.finding_head(each)) for each in found.findings],
        "visits": list(rows.visit_rows(analysis)),
        "visit_heads": [head.format(analysis.unit) for head in rows.VISIT_HEADS],
        "changes": rows.change_rows(analysis),
        "model_error": None if error is None else f"{error:+.1f}",
        "differences": shown,
        "more_differences": folded,
        "kinds": rows.KIND_WORDS,
        "defects": rows.defect_rows(analysis),
        "roles": rows.role_rows(analysis),
        "sure": percent(found.edge_chart.confidence) if found.edge_chart.confidence else "",
        "text": log_text(analysis.summary),
    }


def _names(analyses: Sequence[Analysis]) -> list[str]:
    """A name for each log's pictures that fits a file and is not used twice."""
    names: list[str] = []
    for analysis in analyses:
        stem = re.sub(r"[^0-9A-Za-z_-]+", "_", Path(analysis.summary.log.source).stem) or "log"
        # identifiers in an <svg> begin with a letter
        stem = stem if stem[0].isalpha() else f"log_{stem}"
        names.append(stem if stem not in names else f"{stem}_{len(names) + 1}")
    return names
