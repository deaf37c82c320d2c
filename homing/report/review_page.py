"""The report of a review: one HTML page with the table in words and its diagram, written whole or not at
all.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from homing.report.diagram import diagram_text
from homing.report.files import check_folder, write_files
from homing.report.furniture import INDEX, XML, rendered, styles
from homing.report.jsonform import program_version
from homing.report.review_text import case_line, condition_of_the_lift, explored, headline
from homing.review import Review
from homing.review.invariants import Invariant

DIAGRAM = "routine"


def write_review_report(review: Review, folder: str | Path) -> Path:
    """Write the report of a review.

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
    from homing.report.figures.routine import routine_diagram

    figure = routine_diagram(review.table)
    element = svg(figure, DIAGRAM)
    contents = {
        f"{DIAGRAM}.png": png(figure),
        f"{DIAGRAM}.svg": (XML + element).encode(),
        INDEX: render(review, element).encode(),
    }
    return write_files(place.resolve(), contents) / INDEX


def render(review: Review, diagram: str) -> str:
    """The whole page as text."""
    return rendered("review_page.html", _context(review, diagram))


def _context(review: Review, diagram: str) -> dict[str, Any]:
    broken = {violation.invariant for violation in review.exploration.violations}
    return {
        "r": review,
        "version": program_version(),
        "css": styles("page.css"),
        "headline": headline(review),
        "explored": explored(review.exploration),
        "kept": [each.value for each in Invariant if each.value not in broken],
        "condition_of_the_lift": condition_of_the_lift,
        "stories": [(each, case_line(each.case)) for each in review.exploration.violations],
        "table": diagram_text(review.table),
        "diagram": diagram,
    }
