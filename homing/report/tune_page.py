"""The report of a tuning: one HTML page with its pictures, written whole or not at all."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from homing.liftfile import BUILT_IN
from homing.report import tune_rows as rows
from homing.report.files import check_folder, write_files
from homing.report.jsonform import program_version
from homing.report.page import INDEX, Drawn
from homing.tuning.results import Tuning


def write_tune_report(tuning: Tuning, folder: str | Path, written: Path | None = None) -> Path:
    """Write the report of a tuning.

    Parameters
    ----------
    tuning : Tuning
        What ``tune`` found.
    folder : str or Path
        Made if it does not exist. Files of the same names are replaced, others left alone.
    written : Path, optional
        The new lift file, to be named on the page.

    Returns
    -------
    Path
        The page, as an absolute path.

    Raises
    ------
    InputError
        When the folder cannot be made or written to.
    """
    place = check_folder(folder)
    from homing.report.figures import png, svg
    from homing.report.tune_figures import tune_pictures

    contents: dict[str, bytes] = {}
    drawn = []
    for picture in tune_pictures(tuning):
        element = svg(picture.figure, picture.name)
        contents[f"{picture.name}.png"] = png(picture.figure)
        contents[f"{picture.name}.svg"] = ('<?xml version="1.0" encoding="utf-8"?>\n' + element).encode()
        drawn.append(Drawn(picture.name, picture.caption, element))
    # the page comes last: where it stands, its pictures do
    contents[INDEX] = render(tuning, drawn, written).encode()
    return write_files(place.resolve(), contents) / INDEX


def render(tuning: Tuning, pictures: Sequence[Drawn], written: Path | None) -> str:
    """The whole page as text."""
    environment = Environment(
        loader=PackageLoader("homing.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("tune_page.html").render(_context(tuning, pictures, written))


def _context(tuning: Tuning, pictures: Sequence[Drawn], written: Path | None) -> dict[str, Any]:
    return {
        "t": tuning,
        "word": "found" if tuning.found else "none",
        "version": program_version(),
        "css": files("homing.report").joinpath("page.css").read_text(encoding="utf-8"),
        "headline": rows.headline(tuning),
        "search": rows.search_line(tuning),
        "settings": rows.setting_rows(tuning),
        "compared": rows.compared_rows(tuning),
        "figures": rows.figure_rows(tuning),
        "front": rows.front_rows(tuning),
        "front_settings": [rows.SETTINGS[key].title for key in tuning.settings],
        "faults": rows.fault_rows(tuning),
        "pictures": {picture.name: picture for picture in pictures},
        "written": written,
        "command": command(tuning),
        "again": rows.again(tuning, written),
    }


def command(tuning: Tuning) -> str:
    """The command line that repeats this tuning, trial by trial."""
    source = str(tuning.lift.source)
    words = ["downstop", "tune"] + ([] if source == BUILT_IN else [shlex.quote(source)])
    words += [
        "--evaluations",
        str(tuning.evaluations),
        "--runs",
        str(tuning.runs),
        "--seed",
        str(tuning.seed),
    ]
    return " ".join(words)
