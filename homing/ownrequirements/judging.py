"""Own requirements held against the nominal run and against runs of the ensemble, like the fixed ones.

What is held against the limit of 0 is the robustness with its sign turned: by how much the formula is broken.
A run in which it cannot be told fails. Every run is played with its
trace and every formula evaluated on it, in Python, so no more runs are taken than are needed to decide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.ownrequirements.logic import Formula, channel_values, channels_of
from homing.requirements import CONFIDENCE, Requirement, result_of
from homing.results import RequirementResult, Run
from homing.statistics import runs_needed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from homing.ownrequirements.tables import OwnRequirement
    from homing.players import Player
    from homing.setting import Setting

Floats = NDArray[np.float64]

#: Runs of the ensemble on which formulas are evaluated at most, unless more are needed to show the allowed
#: rate. A run of ten seconds costs about 5 ms for each formula.
MOST_RUNS = 1000


def judge_own(
    player: Player, nominal: Run, runs: int, progress: Callable[[int, int], None] | None = None
) -> tuple[RequirementResult, ...]:
    """Hold the requirements of the lift's own against the nominal run and the first runs of the ensemble."""
    lift = player.setting.lift
    if not lift.own_requirements:
        return ()
    formulas = formulas_of(player.setting, nominal, lift.own_requirements)
    count = min(runs, runs_taken(lift.requirements.allowed_failure_rate))
    at_nominal = broken(formulas, nominal)
    values = np.empty((count, len(formulas)))
    for number in range(count):
        values[number] = broken(formulas, player.run(number))
        if progress is not None:
            progress(number + 1, count)
    return tuple(
        result_of(
            lift, Requirement(each.name, each.unit, missing_fails=True), 0.0, at_nominal[[i]], values[:, i]
        )
        for i, each in enumerate(lift.own_requirements)
    )


def formulas_of(
    setting: Setting, nominal: Run, requirements: tuple[OwnRequirement, ...]
) -> tuple[Formula, ...]:
    """Formulas of requirements of a lift's own, over the columns that its runs have."""
    channels = channels_of(nominal.trace, tuple(phase.name for phase in setting.table.phases))
    return tuple(Formula(each, channels, setting.lift.source) for each in requirements)


def runs_taken(allowed_rate: float) -> int:
    """How many runs of the ensemble are taken at most."""
    return max(MOST_RUNS, runs_needed(allowed_rate, CONFIDENCE))


def broken(formulas: Sequence[Formula], run: Run) -> Floats:
    """By how much a run breaks each formula, (formulas,); negative where it holds, NaN where nobody can
    tell.
    """
    return np.array([-each.robustness(channel_values(run.trace, each.channels)) for each in formulas])
