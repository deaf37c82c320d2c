"""What a review hands over: findings, and what the exhaustive exploration saw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.routine import Table


class Severity(Enum):
    """How much a finding weighs."""

    DANGER = "danger"
    DOUBT = "doubt"
    NOTE = "note"


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong with a table: where, why it matters, and how to mend it."""

    id: str
    severity: Severity
    row: str
    why: str
    mend: str


@dataclass(frozen=True)
class Violation:
    """An invariant that does not hold.

    ``story`` is the shortest way there, a sentence a loop; ``fault`` what is broken in it ("nothing");
    ``case`` a run of the full simulation that does the same, None if none was found;
    ``also`` the other faults with which it breaks.
    """

    invariant: str
    fault: str
    story: tuple[str, ...]
    case: Mapping[str, Any] | None = None
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Exploration:
    """All that was visited; ``complete`` False means cut short, and then nothing is proved."""

    states: int
    transitions: int
    complete: bool
    seconds: float
    violations: tuple[Violation, ...]
    states_by_fault: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Review:
    """Findings and exploration of one lift's table."""

    lift: Lift
    table: Table
    findings: tuple[Finding, ...]
    exploration: Exploration

    @property
    def clean(self) -> bool:
        return not self.findings and not self.exploration.violations and self.exploration.complete
