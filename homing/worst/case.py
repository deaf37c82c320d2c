"""A case file: one run, written down so that it can be played again exactly.

Keys, all in the units of the lift file; numbers are written so that reading gives the same bits back::

    [case]     lift, lift_mark (of the lift's tables), seed, requirement, margin, run_number (left out: loops
               exactly as the lift file says, without jitter and late loops), timing_mark (of the loop periods
               measured in a log, if they were drawn from one)
    [start]    kind, place (share of its range), count_phase
    [sway]     towards, sideways (0 to 1; 0.5 hangs in the middle)
    [timing]   late_loop, and as shares of their ranges: loop_phase, loop_length, sampling_phase, late_place
               (left out: the loops of the run number)
    [values]   "section.key" = value, for every tolerance of the lift
    [fault]    name, and as shares of their ranges: when, size, place (left out: no fault)
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.batches import Batch
from homing.draws import FIRST_COLUMNS, Draws, Start, add_sway
from homing.faults import faults_for
from homing.worst.aims import Aims, run_of
from homing.worst.cube import Cube, break_down, ready
from homing.worst.timing import Timing

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import Run
    from homing.setting import Setting

SHARES = {
    "start": ("place", "count_phase"),
    "sway": ("towards", "sideways"),
    "fault": ("when", "size", "place"),
    "timing": ("loop_phase", "loop_length", "sampling_phase", "late_place"),
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
    timing: Timing = field(default_factory=Timing)
    timing_mark: str | None = None

    def batch(self, setting: Setting) -> Batch:
        """The run, ready for the kernel."""
        lift = setting.lift
        values = {key: np.array([value]) for key, value in self.values.items()}
        add_sway(lift, values, np.array([self.sway[0]]), np.array([self.sway[1]]))
        draws = Draws(
            values, np.array([int(self.start)]), np.array([self.start_place]), np.array([self.count_phase])
        )
        number = np.array([-1 if self.run_number is None else self.run_number])
        made = ready(setting, draws, number, self.timing.shares())
        if self.fault is not None:
            kind = next(kind for kind in faults_for(lift) if kind.name == self.fault)
            break_down(setting, made, kind, np.array([0]), np.array([self.fault_shares]))
        return made


def case_of_point(cube: Cube, point: NDArray[np.float64], requirement: str, margin: float) -> Case:
    """A point of the cube (d,) as a case."""
    setting, row = cube.setting, point[None, :]
    number, kind = int(cube.run_numbers(row)[0]), int(cube.fault_numbers(row)[0])
    when, size, place = point[cube.broken_from + 1 :].tolist() if kind >= 0 else (0.0, 0.0, 0.0)
    return Case(
        lift=setting.lift.source,
        lift_mark=lift_mark(setting.lift),
        seed=setting.seed,
        requirement=requirement,
        margin=margin,
        run_number=None if number < 0 else number,
        start=Start(int(cube.draws(row).start_kind[0])),
        start_place=float(point[1]),
        count_phase=float(point[2]),
        sway=(float(point[3]), float(point[4])),
        values={
            each.key: float(each.low + (each.high - each.low) * point[FIRST_COLUMNS + i])
            for i, each in enumerate(setting.lift.tolerances)
        },
        fault=None if kind < 0 else cube.faults[kind].name,
        fault_shares=(when, size, place),
        timing=Timing.of(cube.timing_shares(row)[0]),
        timing_mark=timing_mark(setting.periods_s),
    )


def play(setting: Setting, case: Case) -> Run:
    """The run of a case, with its trace."""
    return replace(run_of(setting, case.batch(setting), 0), index=case.run_number, start=case.start.words)


def case_margin(aim: Aims, case: Case) -> float:
    """Margin that a case has in the one requirement that is asked for."""
    return float(aim.told(case.batch(aim.setting))[0])


def lift_mark(lift: Lift) -> str:
    """A mark of a lift's tables, equal for equal tables: tells whether a case was found on this very lift."""
    text = json.dumps(lift.given, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def timing_mark(periods_s: NDArray[np.float64]) -> str | None:
    """A mark of the loop periods measured in a log; None without any."""
    return hashlib.sha256(periods_s.tobytes()).hexdigest()[:16] if len(periods_s) else None


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
    if case.timing_mark is not None:
        sections["case"]["timing_mark"] = case.timing_mark
    if case.timing != Timing():
        shares = {key: getattr(case.timing, key) for key in SHARES["timing"]}
        sections["timing"] = {"late_loop": case.timing.late_loop.words, **shares}
    if case.fault is not None:
        shares = dict(zip(SHARES["fault"], case.fault_shares, strict=True))
        sections["fault"] = {"name": case.fault, **shares}
    lines = [f"# {line}" for line in note.splitlines()]
    for name, table in sections.items():
        lines += ["", f"[{name}]", *(f"{_key(key)} = {json.dumps(value)}" for key, value in table.items())]
    return "\n".join(lines).lstrip("\n") + "\n"


def _key(key: str) -> str:
    return json.dumps(key) if "." in key else key
