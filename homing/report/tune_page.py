"""The report of a tuning: one HTML page with its pictures, written whole or not at all."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from homing.liftfile import BUILT_IN
from homing.report import tune_rows as rows
from homing.report.files import check_folder, write_files
from homing.report.furniture import INDEX, Drawn, drawn, rendered, styles
from homing.report.jsonform import program_version
from homing.report.tune_words import named
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
    from homing.report.tune_figures import tune_pictures

    contents: dict[str, bytes] = {}
    pictures = [drawn(picture, contents) for picture in tune_pictures(tuning)]
    # the page comes last: where it stands, its pictures do
    contents[INDEX] = render(tuning, pictures, written).encode()
    return write_files(place.resolve(), contents) / INDEX


def render(tuning: Tuning, pictures: Sequence[Drawn], written: Path | None) -> str:
    """The whole page as text."""
    return rendered("tune_page.html", _context(tuning, pictures, written))


def _context(tuning: Tuning, pictures: Sequence[Drawn], written: Path | None) -> dict[str, Any]:
    return {
        "t": tuning,
        "word": "found" if tuning.found else "none",
        "version": program_version(),
        "css": styles("page.css"),
        "headline": rows.headline(tuning),
        "search": rows.search_line(tuning),
        "settings": rows.setting_rows(tuning),
        "compared": rows.compared_rows(tuning),
        "figures": rows.figure_rows(tuning),
        "front": rows.front_rows(tuning),
        "front_settings": [named(tuning, keys).title for keys in tuning.groups],
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
