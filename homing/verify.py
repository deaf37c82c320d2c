"""Verify: nominal run, ensemble, requirements, faults, coverage, advice.

Flow of ``verify``::

    prepare -> nominal run -> ensemble -> requirements -> faults with and without guards -> advice
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from difflib import get_close_matches
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.faults import FAULT_RUNS, FaultKind, FaultPlan, faults_for, run_numbers
from homing.kernel.codes import Reason
from homing.own.reading import SHARED_KEYS
from homing.ownrequirements.judging import judge_own
from homing.players import Player, TablePlayer
from homing.requirements import FIXED_NAMES, judge
from homing.results import Ensemble, FaultResult, Outcome, RequirementResult, Run, Verification
from homing.sensorview import sensor_view
from homing.setting import Setting, prepare
from homing.statistics import scatter
from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.assumed import Assumed
    from homing.bridge.controller import Program
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

#: Told while working: what is being done, runs done so far, runs in all.
Progress = Callable[[str, int, int], None]


def verify(
    lift: Lift,
    runs: int = 2000,
    seed: int = 0,
    executor: Executor | None = None,
    *,
    workers: int | None = None,
    periods_s: Floats | None = None,
    progress: Progress | None = None,
    program: Program | None = None,
) -> Verification:
    """Verify a lift: does it zero without throwing its string, how surely, and what does each fault do.

    Parameters
    ----------
    lift : Lift
    runs : int
        Runs of the ensemble.
    seed : int
        Same seed, same numbers, whatever ``workers`` and ``executor`` are.
    executor : concurrent.futures.Executor, optional
        Runs the blocks; threads by default.
    workers : int, optional
        Threads of the default executor.
    periods_s : ndarray, optional
        Measured loop periods to draw from [s].
    progress : callable, optional
        Called with (what, done, all).
    program : Program, optional
        The team's own controller (``homing.bridge``) instead of the routine of the lift file.

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        When the lift cannot be simulated, for instance a sensor that is never made.

    Examples
    --------
    >>> from homing import load_lift, verify
    >>> verify(load_lift(None), runs=1000).verdict
    'pass'
    """
    _check_fault_rates(lift)
    player = _player(prepare(lift, seed, periods_s), program, executor, workers)
    setting = player.setting
    nominal, alone = player.nominal()
    indices = np.arange(runs, dtype=np.int64)
    ensemble = player.many(indices, progress=_named(progress, "tolerances"))
    requirements = judge(lift, alone, ensemble)
    requirements += judge_own(player, nominal, runs, _named(progress, "own requirements"))
    faults = _faults(player, progress)
    return Verification(
        lift=lift,
        seed=seed,
        table=setting.table if program is None else None,
        requirements=requirements,
        nominal=nominal,
        ensemble=ensemble,
        worst_runs=_worst_runs(player, requirements),
        faults=faults,
        diagnostic_coverage=coverage(faults, lift.fault_rates) if program is None else None,
        zero_scatter_mm=scatter(ensemble.metrics["zero_error_mm"]),
        sensor=sensor_view(setting),
        advice=_advice(lift, requirements, seed, workers, program),
        assumed=lift.assumed if program is None else _of_the_lift(lift.assumed),
        cautions=_cautions(lift),
        notes=lift.notes,
        program=None if program is None else program.name,
    )


def _of_the_lift(assumed: tuple[Assumed, ...]) -> tuple[Assumed, ...]:
    """What was assumed of the lift itself; settings of the built-in sequence do not matter to a program."""
    shared = [f"routine.{key}" for key in SHARED_KEYS]
    return tuple(each for each in assumed if not each.key.startswith("routine.") or each.key in shared)


def one_run(
    lift: Lift,
    number: int,
    seed: int = 0,
    periods_s: Floats | None = None,
    program: Program | None = None,
) -> Run:
    """One drawn run alone, with its trace: the one of this number in ``verify`` with the same seed."""
    return _player(prepare(lift, seed, periods_s), program, None, None).run(number)


def _player(
    setting: Setting, program: Program | None, executor: Executor | None, workers: int | None
) -> Player:
    if program is None:
        return TablePlayer(setting, executor, workers)
    from homing.bridge.player import ProgramPlayer

    return ProgramPlayer(setting, program, workers)


def _named(progress: Progress | None, what: str) -> Callable[[int, int], None] | None:
    if progress is None:
        return None
    return lambda done, of: progress(what, done, of)


def _worst_runs(player: Player, requirements: tuple[RequirementResult, ...]) -> tuple[Run, ...]:
    """Traces of the worst run of each requirement, those that fail first, three at most."""
    ordered = sorted(
        requirements, key=lambda result: (result.passed, result.margin / max(result.limit, 1e-9))
    )
    numbers = dict.fromkeys(
        result.worst_run for result in ordered if result.worst_run is not None and result.worst != 0.0
    )
    return tuple(player.run(number) for number in list(numbers)[:3])


def _faults(player: Player, progress: Progress | None) -> tuple[FaultResult, ...]:
    numbers, plan, lift = run_numbers(player.setting.lift), FaultPlan(), player.setting.lift
    guarded = player.many(numbers, faults=plan, progress=_named(progress, "faults"))
    unguarded = player.without_guards()
    told = _named(progress, "faults without guards")
    bare = guarded if unguarded is None else unguarded.many(numbers, faults=plan, progress=told)
    return tuple(
        _fault_result(kind, guarded, bare, slice(i * FAULT_RUNS, (i + 1) * FAULT_RUNS))
        for i, kind in enumerate(faults_for(lift))
    )


def _fault_result(kind: FaultKind, guarded: Ensemble, bare: Ensemble, rows: slice) -> FaultResult:
    outcome, bare_outcome = guarded.outcome[rows], bare.outcome[rows]
    reasons = guarded.reason[rows][outcome == Outcome.FAULTED]
    common = int(np.bincount(reasons).argmax()) if len(reasons) else int(Reason.NONE)
    bare_unsafe = bare_outcome == Outcome.UNSAFE
    return FaultResult(
        fault=kind.name,
        alters=kind.alters,
        outcome=Outcome(int(outcome.max())),
        detected=not bool((outcome == Outcome.UNSAFE).any()),
        shares={each.word: float(np.mean(outcome == each)) for each in Outcome},
        overtravel_mm=_largest(guarded.metrics["overtravel_mm"][rows]),
        slack_mm=_largest(guarded.metrics["slack_mm"][rows]),
        zero_error_mm=_largest(np.abs(guarded.metrics["zero_error_mm"][rows])),
        common_reason=guarded.reason_texts.get(common, ""),
        unguarded_unsafe=int(bare_unsafe.sum()),
        unguarded_unsafe_now_faulted=int((bare_unsafe & (outcome == Outcome.FAULTED)).sum()),
        runs=len(outcome),
    )


def _check_fault_rates(lift: Lift) -> None:
    """Every name in ``[fault_rates]`` must be a fault that this lift can have."""
    known = [kind.name for kind in faults_for(lift)]
    for name in lift.fault_rates:
        if name not in known:
            close = get_close_matches(name, known, 1)
            hint = f" (did you mean {close[0]!r}?)" if close else ""
            must = f"must be one of the faults of this lift{hint}"
            raise InputError(must, file=lift.source, key=f"fault_rates.{name}", got=lift.fault_rates[name])


def _largest(values: Floats) -> float:
    present = values[~np.isnan(values)]
    return float(present.max()) if len(present) else float("nan")


def coverage(faults: tuple[FaultResult, ...], rates: Mapping[str, float]) -> float | None:
    """Diagnostic coverage: of the runs unsafe without guards, the share that ends faulted with them.

    Faults weigh alike, or by ``[fault_rates]``; None when no fault is unsafe without guards.
    """
    dangerous = detected = 0.0
    for fault in faults:
        weight = rates.get(fault.fault, 0.0) if rates else 1.0
        dangerous += weight * fault.unguarded_unsafe / fault.runs
        detected += weight * fault.unguarded_unsafe_now_faulted / fault.runs
    return detected / dangerous if dangerous > 0.0 else None


def _advice(
    lift: Lift,
    requirements: tuple[RequirementResult, ...],
    seed: int,
    workers: int | None,
    program: Program | None,
) -> tuple[str, ...]:
    if all(result.passed for result in requirements):
        return ()
    from homing.advice import advise, more_runs

    failing = [result for result in requirements if not result.passed]
    runs = more_runs(failing, lift.requirements.allowed_failure_rate)
    if runs is not None:
        return (f"Too few runs to decide: repeat it with at least {runs} (--runs {runs}).",)
    if program is not None:
        return (_about_program(failing[0]),)
    fixed = [result.name for result in failing if result.name in FIXED_NAMES]
    return (advise(lift, fixed, seed, workers),) if fixed else (_about_own(failing[0]),)


def _about_program(worst: RequirementResult) -> str:
    """What a program is to be looked at for: its numbers are its own, so nothing was tried on them."""
    run = "the nominal run" if worst.worst_run is None else f"run {worst.worst_run}"
    return (
        f"Look at the program in {run}: {worst.name} reaches {worst.worst:.3g} {worst.unit} where "
        f"{worst.limit:.3g} is allowed (--run and --trace show it loop by loop)."
    )


def _about_own(worst: RequirementResult) -> str:
    """Where to look when a requirement of the team's own is broken: nobody but them knows what it is to
    mean.
    """
    run = "the nominal run" if worst.worst_run is None else f"run {worst.worst_run}"
    return f'Look at {run}, which breaks "{worst.name}" the most (--run and --trace show it loop by loop).'


def _cautions(lift: Lift) -> tuple[str, ...]:
    from homing.report.cautions import cautions

    return cautions(magnet=lift.sensor().kind is SensorKind.MAGNET)
