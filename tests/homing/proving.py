"""A proving ground for routine tables: a few lifts on which a routine that is not sound shows it.

A table is held against the requirements of each lift, and against its injected faults: a fault run that
is unsafe now and was not with the sound table tells on it too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.faults import FaultPlan, run_numbers
from homing.liftfile import load_lift
from homing.requirements import judge
from homing.results import Outcome
from homing.routine import Table
from homing.setting import Setting, prepare

#: Runs on each lift, and fault runs of each kind.
RUNS, FAULT_RUNS = 400, 16


@dataclass(frozen=True)
class Ground:
    """One lift of the proving ground with its sound table."""

    name: str
    setting: Setting

    @cached_property
    def passes(self) -> frozenset[str]:
        """Requirements that the sound table passes."""
        return _passes(self.setting)

    @cached_property
    def unsafe(self) -> NDArray[np.bool_]:
        """Fault runs that are unsafe with the sound table, (n,)."""
        return _unsafe(self.setting)

    def tells(self, table: Table) -> str:
        """What tells on another table on this lift; empty if nothing does."""
        other = self.setting.with_table(table)
        missed = self.passes - _passes(other)
        if missed:
            return f"{self.name}: {', '.join(sorted(missed))}"
        worse = int((_unsafe(other) & ~self.unsafe).sum())
        return f"{self.name}: {worse} fault runs unsafe" if worse else ""


def _passes(setting: Setting) -> frozenset[str]:
    indices = np.arange(RUNS, dtype=np.int64)
    ensemble = as_ensemble(setting, indices, run_many(setting, indices))
    results = judge(setting.lift, nominal_ensemble(setting), ensemble)
    return frozenset(result.name for result in results if result.passed)


def _unsafe(setting: Setting) -> NDArray[np.bool_]:
    numbers = run_numbers(setting.lift, FAULT_RUNS)
    ensemble = as_ensemble(setting, numbers, run_many(setting, numbers, faults=FaultPlan()))
    return np.asarray(ensemble.outcome == Outcome.UNSAFE)


def grounds() -> tuple[Ground, ...]:
    """The lifts, most telling first."""
    # a rare late loop of the example would fail a limit or not by the luck of a few hundred draws
    calm = load_lift(None).replace({"controller.late_loop_probability": 0.0})
    lifts = {
        "built-in example": calm,
        "referenced at start": calm.replace({"routine.referenced_at_start": True}),
        "often late": calm.replace(
            {"controller.late_loop_probability": 0.02, "requirements.overtravel_mm": 40.0}
        ),
        "flickering readings": calm.replace({"sensor.bottom.noise_flip_probability": 0.002}),
    }
    return tuple(Ground(name, prepare(lift)) for name, lift in lifts.items())
