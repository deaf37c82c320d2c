"""The report as one HTML page: no scripts, nothing fetched, pictures inside, readable when printed grey.

``write_report`` draws every picture, fills ``page.html`` (the words; ``page.css`` is the look) and writes
page and pictures into a folder, whole or not at all.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from homing.liftfile import BUILT_IN
from homing.liftkeys import OWN_TABLE
from homing.report import rows, wording
from homing.report.cautions import CAUTIONS
from homing.report.checklist_page import CHECKLIST, render_checklist
from homing.report.files import check_folder, write_files
from homing.report.furniture import INDEX, Drawn, drawn, rendered, styles
from homing.report.jsonform import program_version
from homing.report.numbers import measure, plain, setting
from homing.results import METRICS

if TYPE_CHECKING:
    from homing.checklist import Check
    from homing.report.worst_page import OnPage
    from homing.results import RequirementResult, Verification

#: Sections of a lift file that describe the lift and its routine, in the order of the page.
_SECTIONS = ("lift", "drive", "string", "stop", "battery", "controller", "sensor", "routine", "requirements")


@dataclass(frozen=True)
class Gauge:
    """Where nominal, 99 % and worst lie against the limit, in units of a 100-wide strip (limit at 80)."""

    nominal: float
    p99: float
    worst: float


def write_report(
    verification: Verification, folder: str | Path, checks: Sequence[Check] = (), beyond: OnPage | None = None
) -> Path:
    """Write the report of a verification.

    Parameters
    ----------
    verification : Verification
        What ``verify`` found.
    folder : str or Path
        Made if it does not exist. Files of the same names are replaced, others left alone.
    checks : sequence of Check, optional
        The pit checklist (``homing.checklist``), written beside the page and linked from it.
    beyond : OnPage, optional
        What was looked for beyond the ensemble: worst case, small probabilities.

    Returns
    -------
    Path
        The page, ``FOLDER/index.html``, as an absolute path.

    Raises
    ------
    InputError
        When the folder cannot be made or written to.
    """
    place = check_folder(folder)
    from homing.report.diagram import diagram_text
    from homing.report.figures import all_figures

    table = verification.table
    contents: dict[str, bytes] = {}
    figures = (*all_figures(verification, table), *(beyond.pictures if beyond else ()))
    pictures = [drawn(picture, contents) for picture in figures]
    if checks:
        contents[CHECKLIST] = render_checklist(verification, checks).encode()
    # the page comes last: where it stands, its pictures do
    told = diagram_text(table) if table is not None else ""
    contents[INDEX] = render(verification, pictures, told, checks, beyond).encode()
    return write_files(place.resolve(), contents) / INDEX


def render(
    verification: Verification,
    pictures: Sequence[Drawn],
    routine: str,
    checks: Sequence[Check] = (),
    beyond: OnPage | None = None,
) -> str:
    """The whole page as text; ``routine`` is the routine told in words."""
    more = {"checks": checks, "checklist_file": CHECKLIST, "beyond": beyond}
    return rendered("page.html", _context(verification, pictures, routine) | more)


def _context(verification: Verification, pictures: Sequence[Drawn], routine: str) -> dict[str, Any]:
    lift = verification.lift
    return {
        "v": verification,
        "version": program_version(),
        "built_in": lift.source == BUILT_IN,
        "css": styles("page.css"),
        "headline": rows.headline(verification),
        "requirements": _requirements(verification),
        "outcomes": rows.outcome_rows(verification),
        "reasons": rows.reason_rows(verification),
        "starts": rows.start_rows(verification),
        "scatter": measure(verification.zero_scatter_mm, "mm", 2),
        "nominal_line": rows.run_line(verification.nominal),
        "nominal": rows.metric_rows(verification.nominal),
        "stop_line": _stop_line(verification),
        "budget": rows.budget_rows(verification.nominal.budget_mm),
        "worst": _worst(verification),
        "faults": rows.fault_rows(verification),
        "coverage": rows.coverage_line(verification),
        "coverage_meaning": wording.COVERAGE_MEANING,
        "given": tuple(_flat(_described(getattr(lift, "given", {})))),
        "assumed": [(item.key, setting(item.value), item.origin) for item in verification.assumed],
        "tolerances": [(t.key, setting(t.low), setting(t.high), t.origin) for t in lift.tolerances],
        "cautions": verification.cautions or CAUTIONS,
        "pictures": {picture.name: picture for picture in pictures},
        "routine": routine,
        "command": command(verification),
        "plain": plain,
    }


def command(verification: Verification, run: int | None = None) -> str:
    """The command line that repeats this verification, or one run of it."""
    source = str(verification.lift.source)
    words = ["downstop", "verify"] + ([] if source == BUILT_IN else [shlex.quote(source)])
    words += [] if verification.program is None else ["--program", shlex.quote(verification.program)]
    words += ["--runs", str(len(verification.ensemble)), "--seed", str(verification.seed)]
    return " ".join(words if run is None else [*words, "--run", str(run), "--trace", f"run{run}.csv"])


def _requirements(verification: Verification) -> list[tuple[rows.RequirementRow, Gauge | None]]:
    told = rows.requirement_rows(verification)
    return [(row, _gauge(result)) for row, result in zip(told, verification.requirements, strict=True)]


def _gauge(result: RequirementResult) -> Gauge | None:
    if not result.limit > 0:
        return None
    spots = np.abs([result.nominal, result.p99, result.worst]) / result.limit * 80.0
    return Gauge(*(float(min(spot, 100.0)) if np.isfinite(spot) else -1.0 for spot in spots))


def _stop_line(verification: Verification) -> str:
    stop = rows.longest_stop(verification.nominal)
    return "" if stop is None else rows.room_line(verification.nominal, stop)


def _worst(verification: Verification) -> list[tuple[int | None, str, str, list[str], str]]:
    """Worst runs: number, outcome, reason, the metrics with limits, and how to see one again."""
    names = [result.name for result in verification.requirements if result.name in METRICS]
    return [
        (
            run.index,
            run.outcome.word,
            run.reason,
            [measure(run.metrics.get(name, float("nan")), wording.METRICS[name].unit) for name in names],
            command(verification, run.index),
        )
        for run in verification.worst_runs
    ]


def _described(given: Mapping[str, Any]) -> dict[str, Any]:
    told = {section: given[section] for section in _SECTIONS if section in given}
    if "routine" in told:  # phases and rows of an own table are told where the routine is
        told["routine"] = {key: value for key, value in told["routine"].items() if key not in OWN_TABLE}
    return told


def _flat(tables: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, str]]:
    """Every key of nested tables with its value as text; a list of tables is told by their names."""
    for key, value in tables.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{key}.")
        elif isinstance(value, list) and value and isinstance(value[0], Mapping):
            for number, table in enumerate(value, 1):
                rest = {k: v for k, v in table.items() if k != "name"}
                yield from _flat(rest, f"{prefix}{key}.{table.get('name', number)}.")
        else:
            yield f"{prefix}{key}", setting(value)
