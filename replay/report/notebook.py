"""The notebook entry: one sheet for a paper notebook, in black and white, with the decision left blank."""

from __future__ import annotations

from importlib.resources import files

from jinja2 import Environment

from homing.report.figures.style import svg
from replay.diagnosis import Diagnosis, Finding, Verdict
from replay.report.analysis import Analysis
from replay.report.figures.zoom import visit_zoom
from replay.report.rows import change_rows, likely, rows_words, value

#: What fits one sheet beside the picture.
MOST_FOR, MOST_AGAINST, MOST_OPTIONS, MOST_LETTERS = 3, 2, 9, 190
#: A second cause is named when it is this share as likely as the first.
RIVAL_SHARE = 0.1


def entry(environment: Environment, analysis: Analysis) -> str:
    """The sheet as one HTML page."""
    found = analysis.shown
    best = found.findings[0] if found.findings else None
    rivals = [each for each in found.findings[1:2] if best and each.score > RIVAL_SHARE * best.score]
    picture = visit_zoom(analysis.shown_track, found, compact=True)
    options = change_rows(analysis)
    return environment.get_template("notebook.html").render(
        css=files("replay.report").joinpath("notebook.css").read_text(encoding="utf-8"),
        source=found.log.source,
        problem=_problem(found),
        picture=None if picture is None else svg(picture, "notebook"),
        causes=[_cause(each) for each in ([best, *rivals] if best else [])],
        options=options[:MOST_OPTIONS],
        left_out=max(0, len(options) - MOST_OPTIONS),
        why_no_options=_no_options(analysis),
        limit=f"{found.limit_mm:g} {analysis.unit}" if found.scaled else "",
        test=_cut(best.next_test, 2 * MOST_LETTERS) if best else "",
    )


def _problem(found: Diagnosis) -> str:
    visit = found.bad_visit
    if visit is None or found.verdict is not Verdict.OVERRUN:
        return f"{found.reason[:1].upper()}{found.reason[1:]}."
    unit, places = ("mm", 1) if found.scaled else ("counts", 0)
    limit = f"; the limit is {found.limit_mm:g} mm" if found.scaled else f" ({found.reason})"
    speed = f"It came in at {value(visit.approach_speed, 0)} {unit}/s"
    others = [each for each in found.visits if each.overtravel <= found.limit_mm]
    good = f"; {len(others)} of {len(found.visits)} visits kept the limit" if others else ""
    return (
        f"In visit {visit.number} of {len(found.visits)} ({visit.t_s:.2f} s, row {visit.row}) the lift went "
        f"{value(visit.overtravel, places)} {unit} past its trip until it first stood, "
        f"{value(visit.deepest, places)} {unit} at most{limit}. {speed}{good}."
    )


def _cause(finding: Finding) -> dict[str, object]:
    return {
        "title": f"{finding.cause.words} ({likely(finding)}, {rows_words(finding.rows)})",
        "for": [_cut(each) for each in finding.for_[:MOST_FOR]],
        "against": [_cut(each) for each in finding.against[:MOST_AGAINST]],
    }


def _no_options(analysis: Analysis) -> str:
    if analysis.what_ifs is not None:
        return ""
    if analysis.diagnosis.bad_visit is None:
        return "No visit went past the limit, so there is nothing to prevent."
    return "Not simulated: that needs a lift file, a scale and the command in the log. Fill in by hand:"


def _cut(text: str, most: int = MOST_LETTERS) -> str:
    """A text short enough for the sheet, cut between words."""
    return text if len(text) <= most else text[: text.rfind(" ", 0, most)] + " …"
