"""What ``downstop replay`` found in its logs, put together for the JSON and for the report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from replay.diagnosis import Diagnosis
    from replay.report.analysis import Analysis
    from replay.summary import Summary
    from replay.what_if_study import WhatIfs


def document(
    summaries: Sequence[Summary],
    diagnoses: Sequence[Diagnosis],
    studies: Sequence[WhatIfs | None],
    lift: Lift | None,
) -> dict[str, Any]:
    """The contract's document for one log; for several, a list of such documents."""
    from homing.report.jsonform import program_version
    from replay.jsonform import diagnosis_parts
    from replay.routine_json import routine_part

    head = {"downstop": program_version(), "command": "replay"}
    together = zip(diagnoses, summaries, studies, strict=True)
    parts = [
        diagnosis_parts(found, summary, study) | routine_part(found, lift)
        for found, summary, study in together
    ]
    if len(parts) == 1:
        return {**head, **parts[0]}
    from replay.compare_logs import compare_logs, comparisons_json

    return {**head, "logs": parts, "comparison": comparisons_json(compare_logs(diagnoses))}


def analyses(
    summaries: Sequence[Summary],
    diagnoses: Sequence[Diagnosis],
    lift: Lift | None,
    studies: Sequence[WhatIfs | None],
) -> list[Analysis]:
    from replay.report.analysis import analyse

    together = zip(summaries, diagnoses, studies, strict=True)
    return [analyse(summary, found, lift, study) for summary, found, study in together]
