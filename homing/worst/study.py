"""From a lift to its worst case: search, shrink, and the run that remains, beside the nominal one."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.faults import FaultKind, faults_for
from homing.results import Run
from homing.setting import Setting
from homing.simulate import nominal_run
from homing.values import nearest
from homing.worst.aims import Aims
from homing.worst.case import Case, case_margin, case_of_point, play
from homing.worst.cube import Cube
from homing.worst.departures import Departure, departures
from homing.worst.search import Tried, search
from homing.worst.shrink import shrink
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

#: Points simulated together: enough to hide the cost of starting, few enough to share out over the cores.
BLOCK_POINTS = 48
#: Word with which any one fault of the lift may strike.
ANY_FAULT = "any"
#: Told while working: what is being done, how much of it is done, and of how much.
Progress = Callable[[str, int, int], None]
SEARCHING, SEARCHING_SECONDS, SHRINKING = "worst case", "worst case, seconds", "worst case, made smaller"


@dataclass(frozen=True)
class Least:
    """Least margin of one requirement over the runs on which it was measured, and how many of them failed.

    ``unit`` is that of the margin; None: it is a share of the limit.
    """

    requirement: str
    margin: float
    failing: int
    measured: int
    unit: str | None = None


@dataclass(frozen=True)
class WorstCase:
    """The run with the least margin that a search found, after shrinking.

    ``tried`` counts the runs of the search, ``shrinking`` those spent afterwards. ``fails`` is False when
    nothing failed: the case is then the one that came nearest. ``unit`` is that of its margin (None: a share
    of the limit); ``searched`` names what was varied, ``left_out`` the requirements that were not searched.
    ``interrupted``: Ctrl-C ended the search or the shrinking.
    """

    lift: Lift
    case: Case
    fails: bool
    margin: float
    unit: str | None
    found_margin: float
    tried: int
    shrinking: int
    least: tuple[Least, ...]
    departures: tuple[Departure, ...]
    run: Run
    nominal: Run
    searched: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    interrupted: bool = False


def worst_case(
    setting: Setting,
    *,
    runs: int | None = None,
    seconds: float | None = None,
    fault: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> WorstCase:
    """Search a lift for the run with the least margin, and shrink it.

    Ctrl-C ends the search, then the shrinking, early with what was found.

    Parameters
    ----------
    setting : Setting
    runs, seconds : optional
        When to stop searching, whichever comes first. The same number of runs gives the same case.
    fault : str, optional
        Name of a fault that may strike, or "any" for any one of the lift's.
    workers : int, optional
        Threads; never changes a number.
    progress : callable, optional
        Called with (what, done, all).
    """
    cube = Cube(setting, faults_of(setting.lift, fault))
    aims = Aims.of(setting, with_fault=fault is not None)
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:

        def block(points: Floats) -> Floats:
            return aims.fixed_margins(cube.batch(points))

        def fixed(points: Floats) -> Floats:
            blocks = [points[i : i + BLOCK_POINTS] for i in range(0, len(points), BLOCK_POINTS)]
            return np.vstack(list(pool.map(block, blocks)))

        tried = search(
            fixed, len(cube.nominal), len(aims.fixed),
            slow_margins=lambda points: aims.own_margins(cube.batch(points)), slow=len(aims.own),
            runs=runs, seconds=seconds, seed=setting.seed, first=cube.nominal[None, :],
            progress=_searching(progress, seconds),
        )  # fmt: skip
    return _shrunk_case(cube, aims, tried, progress)


def _searching(progress: Progress | None, seconds: float | None) -> Callable[[int, int], None] | None:
    """Progress of the search: of its seconds where it has no number of runs to do."""
    if progress is None:
        return None
    began = time.monotonic()

    def told(done: int, of: int) -> None:
        if of or seconds is None:
            progress(SEARCHING, done, of)
        else:
            whole = math.ceil(seconds)
            progress(SEARCHING_SECONDS, min(int(time.monotonic() - began), whole), whole)

    return told


def faults_of(lift: Lift, name: str | None) -> tuple[FaultKind, ...]:
    """Faults that may strike: none, one by its name, or any of the lift's."""
    if name is None:
        return ()
    kinds = faults_for(lift)
    if name == ANY_FAULT:
        return kinds
    names = [kind.name for kind in kinds]
    if name not in names:
        must = f'must be "any" or a fault of this lift{nearest(name, names)}: {", ".join(names)}'
        raise InputError(must, key="--worst-fault", got=name)
    return (kinds[names.index(name)],)


def _shrunk_case(cube: Cube, aims: Aims, tried: Tried, progress: Progress | None) -> WorstCase:
    k = int(np.argmin(tried.least))
    aim = Aims.named(cube.setting, aims.names[k])

    def margin(point: Floats) -> float:
        # by way of the case, so that what is kept is what a case file plays
        return case_margin(aim, case_of_point(cube, point, aims.names[k], 0.0))

    def told(done: int, of: int) -> None:
        if progress is not None:
            progress(SHRINKING, done, of)

    small = shrink(margin, tried.point(k), cube.nominal, cube.discrete, told)
    case = case_of_point(cube, small.point, aims.names[k], small.margin)
    return WorstCase(
        lift=cube.setting.lift,
        case=case,
        fails=small.margin < 0.0,
        margin=small.margin,
        unit=aims.units[k],
        found_margin=float(tried.least[k] * aims.scales[k]),
        tried=tried.runs,
        shrinking=small.runs,
        least=_least(aims, tried),
        departures=departures(cube, small.point),
        run=play(cube.setting, case),
        nominal=nominal_run(cube.setting),
        searched=cube.names,
        left_out=aims.left_out,
        interrupted=tried.interrupted or small.interrupted,
    )


def _least(aims: Aims, tried: Tried) -> tuple[Least, ...]:
    return tuple(
        Least(name, float(low * scale), int(failing), int(measured), unit)
        for name, unit, low, scale, failing, measured in zip(
            aims.names, aims.units, tried.least, aims.scales, tried.failing, tried.measured, strict=True
        )
    )
