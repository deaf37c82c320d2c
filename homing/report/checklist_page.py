"""The pit checklist as one page to print, and as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from homing.report.cautions import NEVER_CERTIFIES
from homing.report.furniture import rendered
from homing.report.jsonform import program_version

if TYPE_CHECKING:
    from homing.checklist import Check
    from homing.results import Verification

CHECKLIST = "checklist.html"


def render_checklist(verification: Verification, checks: Sequence[Check]) -> str:
    """The page as HTML, which prints on one sheet."""
    context = {
        "v": verification,
        "checks": checks,
        "minutes": _minutes(checks),
        "version": program_version(),
        "caution": NEVER_CERTIFIES,
    }
    return rendered("checklist.html", context)


def checklist_text(checks: Sequence[Check]) -> str:
    """The same as plain text, a few lines a check."""
    lines = [f"Pit checklist: {len(checks)} checks, about {_minutes(checks)} minutes."]
    for check in checks:
        mark = "safety: " if check.safety else ""
        lines += [f"{check.number:2d}. [ ] {mark}{check.title}: {check.limit}", f"        {check.do}"]
    return "\n".join(lines) + "\n"


def _minutes(checks: Sequence[Check]) -> str:
    return f"{sum(check.seconds for check in checks) / 60:.0f}"
