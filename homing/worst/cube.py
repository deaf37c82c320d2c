"""The cube that is searched: every drawn number of a run, its run number and, if asked, one fault.

Each coordinate is even between 0 and 1, as in ``homing.draws``. Behind those come the run number, whose
loops, noise and sampling it stands for, and with a fault: which, when, how much, where.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from homing.batches import NOMINAL_INDEX, Batch, batch_of
from homing.draws import FIRST_COLUMNS, Draws, columns_of, from_uniforms
from homing.faults import FAULT_RUN_S, FaultKind, FaultPlan
from homing.setting import Setting
from homing.simulate import run_batch

Floats = NDArray[np.float64]

#: Run numbers that can be chosen; their loops are those of the ensemble's runs with these numbers.
RUN_NUMBERS = 2**20
FIRST_NAMES = ("start", "place of start", "count phase", "sway towards", "sway sideways")
FAULT_NAMES = ("fault", "fault: when", "fault: size", "fault: place")
#: The nominal run: starts at its start height, counts in phase, hangs in the middle.
FIRST_NOMINAL = (0.0, 0.5, 0.0, 0.5, 0.5)
#: No fault; its onset, size and place then mean nothing.
FAULT_NOMINAL = (0.0, 0.0, 0.0, 0.5)
RUN_NUMBER = "loops and noise"
DISCRETE = ("start", RUN_NUMBER, "fault")


@dataclass(frozen=True)
class Cube:
    """What is searched of one setting; ``faults`` are those of which a run may have one."""

    setting: Setting
    faults: tuple[FaultKind, ...] = ()

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Name of each coordinate."""
        keys = tuple(tolerance.key for tolerance in self.setting.lift.tolerances)
        return (*FIRST_NAMES, *keys, RUN_NUMBER, *(FAULT_NAMES if self.faults else ()))

    @cached_property
    def nominal(self) -> Floats:
        """The nominal run, (d,): its loops exactly as the lift file says, without jitter or late loops."""
        numbers = self.setting.lift.quantities()
        shares = [
            float(np.clip((numbers[each.key] - each.low) / (each.high - each.low), 0.0, 1.0))
            if each.key in numbers
            else 0.5
            for each in self.setting.lift.tolerances
        ]
        return np.array([*FIRST_NOMINAL, *shares, 0.0, *(FAULT_NOMINAL if self.faults else ())])

    @cached_property
    def discrete(self) -> NDArray[np.bool_]:
        """Which coordinates choose between things that have no order, (d,)."""
        return np.array([name in DISCRETE for name in self.names])

    @property
    def drawn(self) -> int:
        """How many coordinates are those of ``homing.draws``."""
        return columns_of(self.setting.lift)

    def run_numbers(self, u: Floats) -> NDArray[np.int64]:
        """Run number of each point, (n,); -1 for loops exactly as written."""
        chosen = np.floor(u[:, self.drawn] * (RUN_NUMBERS + 1)).astype(np.int64)
        return np.minimum(chosen, RUN_NUMBERS) - 1

    def fault_numbers(self, u: Floats) -> NDArray[np.int64]:
        """Place of each point's fault in ``faults``, (n,); -1 for none."""
        if not self.faults:
            return np.full(len(u), -1)
        chosen = np.floor(u[:, self.drawn + 1] * (len(self.faults) + 1)).astype(np.int64)
        return np.minimum(chosen, len(self.faults)) - 1

    def draws(self, u: Floats) -> Draws:
        """What the first coordinates stand for."""
        return from_uniforms(self.setting.lift, u[:, : self.drawn])

    def batch(self, u: Floats) -> Batch:
        """Points (n, d) as runs ready for the kernel."""
        made = ready(self.setting, self.draws(u), self.run_numbers(u))
        kinds = self.fault_numbers(u)
        for number in np.unique(kinds[kinds >= 0]):
            rows = np.flatnonzero(kinds == number)
            break_down(self.setting, made, self.faults[number], rows, u[rows, self.drawn + 2 :])
        return made

    def simulate(self, u: Floats) -> Floats:
        """Result rows (n, columns) of points (n, d)."""
        return run_batch(self.setting, self.batch(u), self.setting.periods_s)

    def place_of(self, name: str) -> int:
        """Column of a coordinate."""
        return self.names.index(name)

    def value(self, name: str, share: float) -> float:
        """Value of a tolerance at a share of its width, in the unit of the file."""
        tolerance = self.setting.lift.tolerances[self.place_of(name) - FIRST_COLUMNS]
        return tolerance.low + (tolerance.high - tolerance.low) * share


def ready(setting: Setting, draws: Draws, numbers: NDArray[np.int64]) -> Batch:
    """Drawn runs ready for the kernel; a run number of -1 stands for loops exactly as written."""
    as_written = numbers < 0
    made = batch_of(setting, draws, np.where(as_written, NOMINAL_INDEX, numbers))
    made.runs.jitter_s[as_written] = 0.0
    made.runs.late_probability[as_written] = 0.0
    return made


def break_down(
    setting: Setting, made: Batch, kind: FaultKind, rows: NDArray[np.int64], shares: Floats
) -> None:
    """Give some rows of a batch one fault; ``shares`` (rows, 3) say when, how much and where, each 0 to 1."""
    made.runs.max_time_s[rows] = FAULT_RUN_S
    padded = np.hstack([shares, np.zeros((len(rows), 1))])
    FaultPlan().inject(setting, made.runs, kind, rows, padded)
