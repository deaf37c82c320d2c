"""A case file: one run, written down so that it can be played again exactly.

Keys, all in the units of the lift file; numbers are written so that reading gives the same bits back::

    [case]     lift, lift_mark (of the lift's tables), seed, requirement, margin, run_number (left out: loops
               exactly as the lift file says, without jitter and late loops)
    [start]    kind, place (share of its range), count_phase
    [sway]     towards, sideways (0 to 1; 0.5 hangs in the middle)
    [values]   "section.key" = value, for every tolerance of the lift
    [fault]    name, and as shares of their ranges: when, size, place (left out: no fault)
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from homing.batches import Batch
from homing.draws import Draws, Start, add_sway
from homing.faults import faults_for
from homing.worst.cube import break_down, ready

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting

SHARES = {
    "start": ("place", "count_phase"),
    "sway": ("towards", "sideways"),
    "fault": ("when", "size", "place"),
}


@dataclass(frozen=True)
class Case:
    """One run: everything in which it departs from the lift as written."""

    lift: str
    lift_mark: str
    seed: int
    requirement: str
    margin: float
    run_number: int | None
    start: Start
    start_place: float
    count_phase: float
    sway: tuple[float, float]
    values: Mapping[str, float]
    fault: str | None = None
    fault_shares: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def batch(self, setting: Setting) -> Batch:
        """The run, ready for the kernel."""
        lift = setting.lift
        values = {key: np.array([value]) for key, value in self.values.items()}
        add_sway(lift, values, np.array([self.sway[0]]), np.array([self.sway[1]]))
        draws = Draws(
            values, np.array([int(self.start)]), np.array([self.start_place]), np.array([self.count_phase])
        )
        made = ready(setting, draws, np.array([-1 if self.run_number is None else self.run_number]))
        if self.fault is not None:
            kind = next(kind for kind in faults_for(lift) if kind.name == self.fault)
            break_down(setting, made, kind, np.array([0]), np.array([self.fault_shares]))
        return made


def lift_mark(lift: Lift) -> str:
    """A mark of a lift's tables, equal for equal tables: tells whether a case was found on this very lift."""
    text = json.dumps(lift.given, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def case_text(case: Case, note: str = "") -> str:
    """The case as TOML."""
    sections: dict[str, dict[str, Any]] = {
        "case": {
            "lift": case.lift,
            "lift_mark": case.lift_mark,
            "seed": case.seed,
            "requirement": case.requirement,
            "margin": case.margin,
        },
        "start": {
            "kind": case.start.words,
            "place": case.start_place,
            "count_phase": case.count_phase,
        },
        "sway": {"towards": case.sway[0], "sideways": case.sway[1]},
        "values": dict(case.values),
    }
    if case.run_number is not None:
        sections["case"]["run_number"] = case.run_number
    if case.fault is not None:
        shares = dict(zip(SHARES["fault"], case.fault_shares, strict=True))
        sections["fault"] = {"name": case.fault, **shares}
    lines = [f"# {line}" for line in note.splitlines()]
    for name, table in sections.items():
        lines += ["", f"[{name}]", *(f"{_key(key)} = {json.dumps(value)}" for key, value in table.items())]
    return "\n".join(lines).lstrip("\n") + "\n"


def _key(key: str) -> str:
    return json.dumps(key) if "." in key else key
