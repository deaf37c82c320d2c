"""Who plays the runs of a study: the routine's table in the kernel, or a program beside it.

A study asks a player for ensembles and for single runs with their trace, and need not know which it is.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.results import Ensemble, Run
from homing.setting import Setting
from homing.simulate import nominal_run, simulate

if TYPE_CHECKING:
    from homing.faults import FaultPlan

Indices = NDArray[np.int64]
Progress = Callable[[int, int], None]


class Player(Protocol):
    """Plays the runs of one setting."""

    @property
    def setting(self) -> Setting:
        """What its runs share."""

    def nominal(self) -> tuple[Run, Ensemble]:
        """The nominal run, with its trace and as an ensemble of one."""

    def run(self, number: int) -> Run:
        """One drawn run with its trace."""

    def many(
        self, indices: Indices, *, faults: FaultPlan | None = None, progress: Progress | None = None
    ) -> Ensemble:
        """The runs with these numbers."""

    def without_guards(self) -> Player | None:
        """The same without its guards; None where they cannot be told apart."""


@dataclass(frozen=True)
class TablePlayer:
    """Plays the routine's table, built-in or own."""

    setting: Setting
    executor: Executor | None = None
    workers: int | None = None

    def nominal(self) -> tuple[Run, Ensemble]:
        return nominal_run(self.setting), nominal_ensemble(self.setting)

    def run(self, number: int) -> Run:
        return simulate(self.setting.lift, run=number, setting=self.setting)

    def many(
        self, indices: Indices, *, faults: FaultPlan | None = None, progress: Progress | None = None
    ) -> Ensemble:
        rows = run_many(
            self.setting,
            indices,
            faults=faults,
            executor=self.executor,
            workers=self.workers,
            progress=progress,
        )
        return as_ensemble(self.setting, indices, rows)

    def without_guards(self) -> Player:
        bare = self.setting.with_table(self.setting.table.without_guards())
        return replace(self, setting=bare)
