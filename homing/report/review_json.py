"""The ``review`` document of the contract, made of plain Python values only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from homing.report.jsonform import program_version

if TYPE_CHECKING:
    from homing.review import Exploration, Review


def review_json(review: Review) -> dict[str, Any]:
    """Findings and exploration as the contract has them; keys were added, none renamed."""
    return {
        "downstop": program_version(),
        "command": "review",
        "lift": review.lift.name,
        "findings": [
            {
                "id": finding.id,
                "severity": finding.severity.value,
                "row": finding.row,
                "why": finding.why,
                "mend": finding.mend,
            }
            for finding in review.findings
        ],
        "exploration": _exploration(review.exploration),
    }


def _exploration(exploration: Exploration) -> dict[str, Any]:
    return {
        "states": exploration.states,
        "transitions": exploration.transitions,
        "complete": exploration.complete,
        "seconds": round(exploration.seconds, 3),
        "states_by_fault": dict(exploration.states_by_fault),
        "violations": [
            {
                "invariant": each.invariant,
                "story": list(each.story),
                "case": None if each.case is None else dict(each.case),
                "fault": each.fault,
                "also": list(each.also),
            }
            for each in exploration.violations
        ],
    }
