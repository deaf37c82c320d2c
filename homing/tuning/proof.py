"""Proof: settings over fresh runs that had no part in choosing them, and over faults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from typing import TYPE_CHECKING

import numpy as np

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.faults import FAULT_RUNS, FaultPlan, faults_for, run_numbers
from homing.ownrequirements.judging import judge_own
from homing.players import TablePlayer
from homing.requirements import judge
from homing.results import Outcome
from homing.setting import Setting, prepare
from homing.simulate import nominal_run
from homing.statistics import scatter
from homing.tuning.results import Proof
from homing.tuning.trials import point_from

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Largest seed plus one: seeds go round.
SEEDS = 2**63


def fresh_seed(seed: int, attempt: int) -> int:
    """Seed of the runs that confirm: another one than the search's, and another one for each attempt."""
    return (seed + 1 + attempt) % SEEDS


def prove(
    lift: Lift, settings: Mapping[str, float], seed: int, runs: int, fixed: Sequence[str], pool: Executor
) -> Proof:
    """Hold a lift, with its settings as they are, against fresh runs and against its faults.

    ``settings`` are those of the lift which are reported; ``fixed`` as in ``Trials``.
    """
    setting = prepare(lift, seed)
    indices = np.arange(runs, dtype=np.int64)
    ensemble = as_ensemble(setting, indices, run_many(setting, indices, executor=pool))
    requirements = judge(lift, nominal_ensemble(setting), ensemble)
    requirements += judge_own(TablePlayer(setting), nominal_run(setting), runs)
    allowed = lift.requirements.allowed_failure_rate
    return Proof(
        lift=lift,
        point=point_from(settings, requirements, ensemble, allowed, fixed),
        seed=seed,
        requirements=requirements,
        ensemble=ensemble,
        zero_scatter_mm=scatter(ensemble.metrics["zero_error_mm"]),
        faults=unsafe_shares(setting, pool),
    )


def unsafe_shares(setting: Setting, pool: Executor) -> tuple[tuple[str, float], ...]:
    """Each fault of the lift and the share of its runs that were unsafe, all guards on."""
    numbers = run_numbers(setting.lift)
    faulty = as_ensemble(setting, numbers, run_many(setting, numbers, faults=FaultPlan(), executor=pool))
    unsafe = (faulty.outcome == Outcome.UNSAFE).reshape(-1, FAULT_RUNS).mean(axis=1)
    names = [kind.name for kind in faults_for(setting.lift)]
    return tuple((name, float(share)) for name, share in zip(names, unsafe, strict=True))
