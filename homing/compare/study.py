"""Compare candidates: each studied over its tolerances with the same random numbers, ranked, with advice.

Flow of ``compare``::

    candidates_of -> spans.settle -> responses (heights, seen, false triggers, sensitivities)
                                  -> ensemble (stop distance, room, requirements, repeatability)
    -> ranking -> placement.advise_mounting for the first in rank
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.compare.candidate import study_candidate
from homing.compare.candidates import Candidate, candidates_of
from homing.compare.judged import Means, Progress
from homing.compare.ranking import ranked
from homing.compare.results import CandidateResult, Comparison, MountAdvice
from homing.report.cautions import cautions
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.compare.candidate import Studied
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

#: Candidates that are studied at the same time; their runs share the cores block by block.
AT_ONCE = 2


def compare(
    lift: Lift,
    runs: int = 2000,
    seed: int = 0,
    executor: Executor | None = None,
    *,
    workers: int | None = None,
    periods_s: Floats | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare the candidates of a lift file, or its own sensors where it has none.

    Parameters
    ----------
    lift : Lift
    runs : int
        Runs of each candidate's ensemble; run k draws the same numbers for every candidate.
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

    Returns
    -------
    Comparison
        Candidates in the order of their rank. One that is never made comes last with what it lacks.

    Raises
    ------
    InputError
        When the lift cannot have one of the candidates as its sensor.
    """
    candidates = candidates_of(lift)
    with _cores(executor, workers) as pool:
        means = Means(seed, periods_s, pool)
        studied = _studied(candidates, runs, means, progress)
        order = ranked([each.result for each in studied])
        advice = _advice(order[0], studied, runs, means, progress)
    return Comparison(
        lift=lift,
        seed=seed,
        runs=runs,
        candidates=order,
        advice=advice,
        cautions=cautions(magnet=any(each.kind == SensorKind.MAGNET.name.lower() for each in order)),
        assumed=(*lift.assumed, *(each for candidate in candidates for each in candidate.assumed)),
        notes=(*lift.notes, *_own_requirements(lift), *_notes(order)),
    )


@contextmanager
def _cores(executor: Executor | None, workers: int | None) -> Iterator[Executor]:
    if executor is not None:
        yield executor
        return
    pool = ThreadPoolExecutor(workers or os.cpu_count() or 1)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _studied(
    candidates: tuple[Candidate, ...], runs: int, means: Means, progress: Progress | None
) -> list[Studied]:
    found: dict[int, Studied] = {}
    with ThreadPoolExecutor(AT_ONCE) as pool:
        waiting = {
            pool.submit(study_candidate, candidate, runs, means): place
            for place, candidate in enumerate(candidates)
        }
        try:
            for future in as_completed(waiting):
                found[waiting[future]] = future.result()
                if progress is not None:
                    progress("candidates", len(found), len(candidates))
        finally:
            for future in waiting:
                future.cancel()
    return [found[place] for place in range(len(candidates))]


def _advice(
    first: CandidateResult, studied: list[Studied], runs: int, means: Means, progress: Progress | None
) -> MountAdvice | None:
    """Advice for the candidate of rank 1; None when not even that one is ever made."""
    from homing.mounting.advice import advise_mounting

    of = next(each for each in studied if each.result.name == first.name)
    if of.judged is None:
        return None
    if progress is not None:
        progress("mounting advice", 0, 1)
    advice = advise_mounting(first.lift, runs, means, responses=of.responses, base=of.judged)
    if progress is not None:
        progress("mounting advice", 1, 1)
    return advice


def _own_requirements(lift: Lift) -> tuple[str, ...]:
    """Formulas are asked of every run's trace, which the runs of a comparison do not keep."""
    if not lift.own_requirements:
        return ()
    names = ", ".join(each.name for each in lift.own_requirements)
    return (
        f"Requirements of your own ({names}) were not held against the candidates: pass and fail here speak "
        "of the others. Verify the lift with the sensor that you choose.",
    )


def _notes(order: tuple[CandidateResult, ...]) -> tuple[str, ...]:
    if any(each.passed for each in order):
        return ()
    first = order[0]
    return (f"No candidate meets every requirement. The nearest is {first.name}: {first.why}.",)
