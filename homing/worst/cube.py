"""The cube that is searched: every drawn number of a run, its run number, its timing and, if asked, a fault.

Each coordinate is even between 0 and 1, as in ``homing.draws``. Behind those come the run number, which
stands for jitter, noise and sampling as drawn, then what of the timing is chosen instead (``timing.py``), and
with a fault: which, when, how much, where.
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
from homing.worst.timing import LATE_LOOP, TIMING_NAMES, TIMING_NOMINAL, plan, searched_timing

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
DISCRETE = ("start", RUN_NUMBER, LATE_LOOP, "fault")


@dataclass(frozen=True)
class Cube:
    """What is searched of one setting; ``faults`` are those of which a run may have one.

    ``searched`` names what of the timing is chosen; by default all that can differ.
    """

    setting: Setting
    faults: tuple[FaultKind, ...] = ()
    searched: tuple[str, ...] | None = None

    @cached_property
    def timing(self) -> tuple[str, ...]:
        """What of the timing is searched, in the order of its columns."""
        return searched_timing(self.setting) if self.searched is None else self.searched

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Name of each coordinate."""
        keys = tuple(tolerance.key for tolerance in self.setting.lift.tolerances)
        return (*FIRST_NAMES, *keys, RUN_NUMBER, *self.timing, *(FAULT_NAMES if self.faults else ()))

    @cached_property
    def nominal(self) -> Floats:
        """The nominal run, (d,): its loops exactly as the lift file says, without jitter or late loops."""
        usual = dict(zip(TIMING_NAMES, TIMING_NOMINAL, strict=True))
        numbers = self.setting.lift.quantities()
        shares = [
            float(np.clip((numbers[each.key] - each.low) / (each.high - each.low), 0.0, 1.0))
            if each.key in numbers
            else 0.5
            for each in self.setting.lift.tolerances
        ]
        timing = [usual[name] for name in self.timing]
        return np.array([*FIRST_NOMINAL, *shares, 0.0, *timing, *(FAULT_NOMINAL if self.faults else ())])

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
        chosen = np.floor(u[:, self.broken_from] * (len(self.faults) + 1)).astype(np.int64)
        return np.minimum(chosen, len(self.faults)) - 1

    @property
    def broken_from(self) -> int:
        """First of the columns of the fault."""
        return self.drawn + 1 + len(self.timing)

    def timing_shares(self, u: Floats) -> Floats:
        """Timing of each point, (n, 5), in the order of ``TIMING_NAMES``."""
        shares = np.tile(TIMING_NOMINAL, (len(u), 1))
        for column, name in enumerate(self.timing, start=self.drawn + 1):
            shares[:, TIMING_NAMES.index(name)] = u[:, column]
        return shares

    def draws(self, u: Floats) -> Draws:
        """What the first coordinates stand for."""
        return from_uniforms(self.setting.lift, u[:, : self.drawn])

    def batch(self, u: Floats) -> Batch:
        """Points (n, d) as runs ready for the kernel."""
        made = ready(self.setting, self.draws(u), self.run_numbers(u), self.timing_shares(u))
        kinds = self.fault_numbers(u)
        for number in np.unique(kinds[kinds >= 0]):
            rows = np.flatnonzero(kinds == number)
            break_down(self.setting, made, self.faults[number], rows, u[rows, self.broken_from + 1 :])
        return made

    def simulate(self, u: Floats) -> Floats:
        """Result rows (n, columns) of points (n, d)."""
        return played(self.setting, self.batch(u))

    def place_of(self, name: str) -> int:
        """Column of a coordinate."""
        return self.names.index(name)

    def value(self, name: str, share: float) -> float:
        """Value of a tolerance at a share of its width, in the unit of the file."""
        tolerance = self.setting.lift.tolerances[self.place_of(name) - FIRST_COLUMNS]
        return tolerance.low + (tolerance.high - tolerance.low) * share


def ready(setting: Setting, draws: Draws, numbers: NDArray[np.int64], timing: Floats) -> Batch:
    """Drawn runs with their timing (n, 5) ready for the kernel.

    A run number of -1 stands for loops exactly as written, but for that timing.
    """
    as_written = numbers < 0
    made = batch_of(setting, draws, np.where(as_written, NOMINAL_INDEX, numbers))
    plan(setting, made.runs, timing)
    made.runs.jitter_s[as_written] = 0.0
    made.runs.late_probability[as_written] = 0.0
    return made


def played(setting: Setting, made: Batch) -> Floats:
    """Result rows of runs; those with loops as written do not draw from the periods measured in a log."""
    rows = run_batch(setting, made, setting.periods_s)
    written = made.indices == NOMINAL_INDEX
    if len(setting.periods_s) and written.any():
        rows[written] = run_batch(setting, made, np.empty(0))[written]
    return rows


def break_down(
    setting: Setting, made: Batch, kind: FaultKind, rows: NDArray[np.int64], shares: Floats
) -> None:
    """Give some rows of a batch one fault; ``shares`` (rows, 3) say when, how much and where, each 0 to 1."""
    made.runs.max_time_s[rows] = FAULT_RUN_S
    padded = np.hstack([shares, np.zeros((len(rows), 1))])
    FaultPlan().inject(setting, made.runs, kind, rows, padded)
