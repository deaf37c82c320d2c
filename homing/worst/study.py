"""From a lift to its worst case: search, shrink, and the run that remains, beside the nominal one."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.draws import FIRST_COLUMNS, Start
from homing.faults import FaultKind, faults_for
from homing.requirements import Requirement
from homing.results import Run
from homing.setting import Setting
from homing.simulate import nominal_run, run_batch, traced
from homing.values import nearest
from homing.worst.case import Case, lift_mark
from homing.worst.cube import FIRST_NAMES, Cube
from homing.worst.margins import margins, searched
from homing.worst.search import Tried, search
from homing.worst.shrink import Shrunk, shrink
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

#: Points simulated together: enough to hide the cost of starting, few enough to share out over the cores.
BLOCK_POINTS = 48
#: Word with which any one fault of the lift may strike.
ANY_FAULT = "any"


@dataclass(frozen=True)
class Departure:
    """One drawn number away from nominal, in words and in the unit of the lift file."""

    what: str
    nominal: str
    value: str


@dataclass(frozen=True)
class Least:
    """Least margin of one requirement over all runs tried, and how many of those failed it."""

    requirement: str
    margin: float
    failing: int


@dataclass(frozen=True)
class WorstCase:
    """The run with the least margin that a search found, after shrinking.

    ``tried`` counts the runs of the search, ``shrinking`` those spent afterwards. ``fails`` is False when
    nothing failed: the case is then the one that came nearest.
    """

    lift: Lift
    case: Case
    fails: bool
    margin: float
    found_margin: float
    tried: int
    shrinking: int
    least: tuple[Least, ...]
    departures: tuple[Departure, ...]
    run: Run
    nominal: Run


def worst_case(
    setting: Setting,
    *,
    runs: int | None = None,
    seconds: float | None = None,
    fault: str | None = None,
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> WorstCase:
    """Search a lift for the run with the least margin, and shrink it.

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
        Called with (runs tried, runs in all).
    """
    cube = Cube(setting, faults_of(setting.lift, fault))
    wanted = searched(setting.lift, with_fault=fault is not None)
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:

        def measured(points: Floats) -> Floats:
            blocks = [points[i : i + BLOCK_POINTS] for i in range(0, len(points), BLOCK_POINTS)]
            rows = np.vstack(list(pool.map(cube.simulate, blocks)))
            return margins(setting, rows, wanted)

        tried = search(
            measured, len(cube.nominal), len(wanted), runs=runs, seconds=seconds, seed=setting.seed,
            first=cube.nominal[None, :], progress=progress,
        )  # fmt: skip
    return _shrunk_case(cube, wanted, tried)


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


def _shrunk_case(cube: Cube, wanted: tuple[Requirement, ...], tried: Tried) -> WorstCase:
    k = int(np.argmin(tried.least))

    def margin(point: Floats) -> float:
        # by way of the case, so that what is kept is what a case file plays
        made = as_case(cube, point, wanted[k].name, 0.0).batch(cube.setting)
        row = run_batch(cube.setting, made, cube.setting.periods_s)
        return float(margins(cube.setting, row, (wanted[k],))[0, 0])

    small = shrink(margin, tried.points[k], cube.nominal, cube.discrete)
    case = as_case(cube, small.point, wanted[k].name, small.margin)
    return WorstCase(
        lift=cube.setting.lift,
        case=case,
        fails=small.margin < 0.0,
        margin=small.margin,
        found_margin=float(tried.least[k]),
        tried=tried.runs,
        shrinking=small.runs,
        least=tuple(
            Least(each.name, float(low), int(failing))
            for each, low, failing in zip(wanted, tried.least, tried.failing, strict=True)
        ),
        departures=departures(cube, small),
        run=play(cube.setting, case),
        nominal=nominal_run(cube.setting),
    )


def as_case(cube: Cube, point: Floats, requirement: str, margin: float) -> Case:
    """A point of the cube as a case."""
    lift, row = cube.setting.lift, point[None, :]
    number, kind = int(cube.run_numbers(row)[0]), int(cube.fault_numbers(row)[0])
    when, size, place = point[cube.drawn + 2 :] if cube.faults else (0.0, 0.0, 0.0)
    return Case(
        lift=lift.source,
        lift_mark=lift_mark(lift),
        seed=cube.setting.seed,
        requirement=requirement,
        margin=margin,
        run_number=None if number < 0 else number,
        start=Start(int(cube.draws(row).start_kind[0])),
        start_place=float(point[1]),
        count_phase=float(point[2]),
        sway=(float(point[3]), float(point[4])),
        values={
            each.key: float(each.low + (each.high - each.low) * point[FIRST_COLUMNS + i])
            for i, each in enumerate(lift.tolerances)
        },
        fault=None if kind < 0 else cube.faults[kind].name,
        fault_shares=(0.0, 0.0, 0.0) if kind < 0 else (float(when), float(size), float(place)),
    )


def play(setting: Setting, case: Case) -> Run:
    """The run of a case, with its trace."""
    made = case.batch(setting)
    run = traced(setting, made, int(made.indices[0]))
    return replace(run, index=case.run_number, start=case.start.words)


def case_margin(setting: Setting, case: Case) -> float:
    """Margin that a case has on a lift."""
    wanted = [each for each in searched(setting.lift, with_fault=False) if each.name == case.requirement]
    if not wanted:
        raise InputError("must be a requirement of the lift", key="case.requirement", got=case.requirement)
    row = run_batch(setting, case.batch(setting), setting.periods_s)
    return float(margins(setting, row, (wanted[0],))[0, 0])


def departures(cube: Cube, small: Shrunk) -> tuple[Departure, ...]:
    """What of a point is away from nominal, in words."""
    away = np.flatnonzero(small.point != cube.nominal)
    return tuple(_departure(cube, cube.names[i], small.point, int(i)) for i in away)


def _departure(cube: Cube, name: str, point: Floats, i: int) -> Departure:
    row, nominal, share = point[None, :], float(cube.nominal[i]), float(point[i])
    if name == "start":
        return Departure(name, "nominal", Start(int(cube.draws(row).start_kind[0])).words)
    if FIRST_COLUMNS <= i < cube.drawn:
        return Departure(name, f"{cube.value(name, nominal):.4g}", f"{cube.value(name, share):.4g}")
    if i == cube.drawn:
        return Departure(name, "as written", f"those of run {int(cube.run_numbers(row)[0])}")
    if name == "fault":
        return Departure(name, "none", cube.faults[int(cube.fault_numbers(row)[0])].name)
    if name in FIRST_NAMES or name.startswith("fault"):
        return Departure(name, f"{nominal:.3f} of its range", f"{share:.3f} of its range")
    raise AssertionError(name)
