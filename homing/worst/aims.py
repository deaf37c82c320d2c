"""What is searched for: the requirements of a lift, those fixed and those of its own, as signed margins.

The margin of a fixed requirement is a share of its limit (``margins.py``). That of an own one is its
robustness as a share of the nominal run's, so that both are about 1 far from failing, and negative exactly
where a run fails; it is told as the robustness itself, in the unit of the requirement. A run in which the
formula cannot be told fails, by as much as the nominal run holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.batches import NOMINAL_INDEX, Batch
from homing.ownrequirements.judging import broken, formulas_of
from homing.requirements import requirements_for
from homing.simulate import nominal_run, traced
from homing.values import nearest
from homing.worst.cube import played
from homing.worst.margins import margins, searched
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.ownrequirements.logic import Formula
    from homing.requirements import Requirement
    from homing.results import Run
    from homing.setting import Setting

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Aims:
    """Requirements of one setting: fixed ones first, then own ones; ``left_out`` names those that are not
    searched, because a run that ends faulted, as it should with a fault, need not meet them.
    """

    setting: Setting
    fixed: tuple[Requirement, ...]
    own: tuple[Formula, ...]
    left_out: tuple[str, ...] = ()

    @classmethod
    def of(cls, setting: Setting, *, with_fault: bool) -> Aims:
        """All that a lift has, or those that have a meaning with a fault."""
        fixed, names = searched(setting.lift, with_fault=with_fault), requirement_names(setting.lift)
        kept = [each.name for each in fixed]
        if with_fault:
            return cls(setting, fixed, (), tuple(name for name in names if name not in kept))
        return cls(setting, fixed, _formulas(setting, names))

    @classmethod
    def named(cls, setting: Setting, name: str) -> Aims:
        """The one of this name, which must be a requirement of the lift."""
        every = requirement_names(setting.lift)
        if name not in every:
            must = f"must be a requirement of the lift{nearest(name, every)}"
            raise InputError(must, key="case.requirement", got=name)
        fixed = tuple(each for each in requirements_for(setting.lift) if each.name == name)
        return cls(setting, fixed, _formulas(setting, (name,)))

    @cached_property
    def names(self) -> tuple[str, ...]:
        return (*(each.name for each in self.fixed), *(each.name for each in self.own))

    @cached_property
    def units(self) -> tuple[str | None, ...]:
        """Unit in which each margin is told; None: as a share of the limit."""
        return (*(None for _ in self.fixed), *(each.unit for each in self.own))

    @cached_property
    def scales(self) -> Floats:
        """By what each searched margin is to be multiplied to be told, (k,)."""
        return np.concatenate([np.ones(len(self.fixed)), self._own_scales])

    @cached_property
    def _own_scales(self) -> Floats:
        if not self.own:
            return np.empty(0)
        held = -broken(self.own, nominal_run(self.setting))
        return np.where(held > 0.0, held, 1.0)

    def fixed_margins(self, made: Batch) -> Floats:
        """Margins of the fixed requirements, (n, fixed)."""
        return margins(self.setting, played(self.setting, made), self.fixed)

    def own_margins(self, made: Batch) -> Floats:
        """Margins of the own requirements, (n, own), a run at a time with its trace."""
        found = [self._own_of(made, row) for row in range(len(made.indices))]
        return np.reshape(found, (len(made.indices), len(self.own)))

    def _own_of(self, made: Batch, row: int) -> Floats:
        return self._robustness(run_of(self.setting, made, row)) / self._own_scales

    def _robustness(self, run: Run) -> Floats:
        found = -broken(self.own, run)
        return np.where(np.isnan(found), -self._own_scales, found) if np.isnan(found).any() else found

    def told(self, made: Batch) -> Floats:
        """Margins of the first run of a batch as they are told, (k,)."""
        fixed = self.fixed_margins(made)[0] if self.fixed else np.empty(0)
        own = self._robustness(run_of(self.setting, made, 0)) if self.own else np.empty(0)
        return np.concatenate([fixed, own])


def requirement_names(lift: Lift) -> tuple[str, ...]:
    """Names of all requirements of a lift, the fixed ones first."""
    own = (each.name for each in lift.own_requirements)
    return (*(each.name for each in requirements_for(lift)), *own)


def _formulas(setting: Setting, names: tuple[str, ...]) -> tuple[Formula, ...]:
    own = tuple(each for each in setting.lift.own_requirements if each.name in names)
    return formulas_of(setting, nominal_run(setting), own) if own else ()


def run_of(setting: Setting, made: Batch, row: int) -> Run:
    """One run of a batch with its trace."""
    number = int(made.indices[row])
    return traced(setting, made, None if number == NOMINAL_INDEX else number, row)
