"""A diagnosis as plain text for a terminal: the verdict first."""

from __future__ import annotations

from collections.abc import Iterator

from replay.budget import PART_WORDS
from replay.diagnosis import Diagnosis, Finding, Visit

#: Findings that the text explains; the others are in the JSON.
EXPLAINED = 2


def diagnosis_text(diagnosis: Diagnosis) -> str:
    """The diagnosis in plain text."""
    return "\n".join(_lines(diagnosis))


def _lines(diagnosis: Diagnosis) -> Iterator[str]:
    unit = "mm" if diagnosis.scaled else "of 400 of the log's range"
    yield f"{diagnosis.verdict.value.replace('_', ' ').upper()}: {diagnosis.reason}"
    bad = diagnosis.bad_visit
    if bad is not None:
        yield ""
        yield from _visit_lines(bad, unit)
    for place, finding in enumerate(diagnosis.findings[:EXPLAINED], start=1):
        yield ""
        yield from _finding_lines(place, finding, unit)
    if diagnosis.findings:
        yield ""
        yield f"  test to decide: {diagnosis.findings[0].next_test}"
    if diagnosis.budget:
        yield ""
        yield f"  stop budget of visit {bad.number if bad else ''} ({unit})"
        for part in diagnosis.budget:
            yield f"    {PART_WORDS[part.part]:<34} {part.mm:7.1f}   ({part.low:.1f} to {part.high:.1f})"
    yield ""
    chart = diagnosis.edge_chart
    sure = f", {chart.confidence:.0%} sure" if chart.confidence else ""
    yield f"  edge position: {chart.words}{sure}"
    yield from (f"  note: {note}" for note in diagnosis.notes)
    if diagnosis.missing:
        yield f"  not in the log: {', '.join(diagnosis.missing)}"


def _visit_lines(visit: Visit, unit: str) -> Iterator[str]:
    yield f"  visit {visit.number} at {visit.t_s:.3f} s, row {visit.row}"
    yield f"    approach     {visit.approach_speed:.0f} {unit}/s"
    half = (visit.edge_high - visit.edge_low) / 2
    yield f"    edge         {visit.edge_logged:.1f} {unit} as counted, known to +-{half:.1f}"
    most = f"{visit.deepest:.1f} at most"
    yield f"    overtravel   {visit.overtravel:.1f} {unit} to the first standstill, {most}"
    if not visit.made:
        yield "    reading      never made in this visit"
    elif visit.command_delay_s == visit.command_delay_s:
        yield f"    command      changed {visit.command_delay_s * 1e3:.0f} ms after the reading"


def _finding_lines(place: int, finding: Finding, unit: str) -> Iterator[str]:
    first, last = finding.rows
    where = f"rows {first}-{last}" if last > first else f"row {first}"
    yield f"  {place}. {finding.cause.words} ({finding.score:.0%}), {where}, from {finding.t_s:.3f} s"
    yield from (f"     + {sentence}" for sentence in finding.for_)
    yield from (f"     - {sentence}" for sentence in finding.against)
    if finding.contribution_mm is not None:
        yield f"     answerable for {finding.contribution_mm:.1f} {unit}"
    if finding.effects:
        yield f"     what followed: {', '.join(each.words for each in finding.effects)}"
