"""A diagnosis as plain text for a terminal: the verdict first."""

from __future__ import annotations

from collections.abc import Iterator

from replay.budget import PART_WORDS
from replay.diagnosis import Diagnosis, Finding, Visit
from replay.track import working_scale

#: Findings that the text explains; the others are in the JSON.
EXPLAINED = 2


def diagnosis_text(diagnosis: Diagnosis) -> str:
    """The diagnosis in plain text."""
    return "\n".join(_lines(diagnosis))


def _lines(diagnosis: Diagnosis) -> Iterator[str]:
    ruler = _Ruler(diagnosis)
    yield f"{diagnosis.verdict.value.replace('_', ' ').upper()}: {diagnosis.reason}"
    bad = diagnosis.bad_visit
    if bad is not None:
        yield ""
        yield from _visit_lines(bad, ruler)
    for place, finding in enumerate(diagnosis.findings[:EXPLAINED], start=1):
        yield ""
        yield from _finding_lines(place, finding)
    if diagnosis.findings:
        yield ""
        yield f"  test to decide: {diagnosis.findings[0].next_test}"
    if diagnosis.budget:
        yield ""
        yield from _budget_lines(diagnosis, ruler)
    yield ""
    chart = diagnosis.edge_chart
    sure = f", {chart.confidence:.0%} sure" if chart.confidence else ""
    yield f"  edge position: {chart.words}{sure}"
    yield from (f"  note: {note}" for note in diagnosis.notes)
    if diagnosis.missing:
        yield f"  not in the log: {', '.join(diagnosis.missing)}"


class _Ruler:
    """Lengths as they are shown: in mm, or in counts where no scale is known."""

    def __init__(self, diagnosis: Diagnosis) -> None:
        self.unit = "mm" if diagnosis.scaled else "counts"
        self._places = 1 if diagnosis.scaled else 0
        self._per_unit = 1.0 if diagnosis.scaled else working_scale(diagnosis.log)

    def __call__(self, length: float) -> str:
        # adding nothing turns a rounded -0 into 0
        return f"{round(length / self._per_unit, self._places) + 0.0:.{self._places}f}"


def _budget_lines(diagnosis: Diagnosis, ruler: _Ruler) -> Iterator[str]:
    bad = diagnosis.bad_visit
    yield f"  stop budget of visit {bad.number if bad else ''} ({ruler.unit})"
    for part in diagnosis.budget:
        bounds = f"({ruler(part.low)} to {ruler(part.high)})"
        yield f"    {PART_WORDS[part.part]:<34} {ruler(part.mm):>7}   {bounds}"


def _visit_lines(visit: Visit, ruler: _Ruler) -> Iterator[str]:
    unit = ruler.unit
    yield f"  visit {visit.number} at {visit.t_s:.3f} s, row {visit.row}"
    yield f"    approach     {ruler(visit.approach_speed).split('.')[0]} {unit}/s"
    doubt = ruler(visit.edge_doubt)
    yield f"    edge         {ruler(visit.edge_logged)} {unit} as counted, known to +-{doubt}"
    most = f"{ruler(visit.deepest)} at most"
    yield f"    overtravel   {ruler(visit.overtravel)} {unit} to the first standstill, {most}"
    if not visit.made:
        yield "    reading      never made in this visit"
    elif visit.command_delay_s == visit.command_delay_s:
        yield f"    command      changed {visit.command_delay_s * 1e3:.0f} ms after the reading"


def _finding_lines(place: int, finding: Finding) -> Iterator[str]:
    first, last = finding.rows
    where = f"rows {first}-{last}" if last > first else f"row {first}"
    yield f"  {place}. {finding.cause.words} ({finding.score:.0%}), {where}, from {finding.t_s:.3f} s"
    yield from (f"     + {sentence}" for sentence in finding.for_)
    yield from (f"     - {sentence}" for sentence in finding.against)
    if finding.contribution_mm is not None:
        yield f"     answerable for {finding.contribution_mm:.1f} mm"
    if finding.effects:
        yield f"     what followed: {', '.join(each.words for each in finding.effects)}"
