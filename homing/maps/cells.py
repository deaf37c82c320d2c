"""Cells of a margin map: what is prepared once for a strip of cells, and the margin of each.

A map asks the same question some 1600 times, so the usual way (change the file, check it, draw hundreds of
runs, tabulate their sensors) would be too long. What is shared, and why it may be:

- the lift of each column and of each row is made and checked in full; the lift of a cell takes what the one
  changed and what the other changed (``merged``)
- along a strip only speeds of the routine and the mounting height change: the drawn runs are the same, and
  a sensor moved along the travel moves its whole response with it (``Strip.cell``)
- every cell is asked about the same few runs, those that are hard somewhere on the map (``hard_runs``)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from homing.batches import Batch, batch
from homing.builtin import builtin_table
from homing.draws import Draws, draw, start_heights
from homing.kernel.layout import RESULT_COLUMNS, Records, new_scratch
from homing.kernel.loop import simulate_block
from homing.lift import MM
from homing.measures import metrics
from homing.requirements import failing, limit_of, requirements_for
from homing.routine import CompiledTable, Table, compile_table
from homing.setting import Setting, prepare
from homing.settings import routine_settings
from homing.values import typical
from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.tolerances import Tolerance

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Of so many runs a cell shows the second worst: of 2000 runs 12 may fail to show 1 % with 95 % confidence,
#: which is 1.8 of 299; and one run that by chance meets a late loop does not make a hole in the map.
WHOLE_RUNS = 299
COUNTED_WORST = 1
#: Margins below this are all alike: the limit is missed by as much as it allows, or for good.
LEAST_MARGIN = -1.0

MOVING = "moving_at_end"

_SECTIONS = ("lift", "drive", "string", "stop", "battery", "controller", "routine", "requirements")


def merged(base: Lift, one: Lift, other: Lift) -> Lift:
    """The lift with all that ``one`` changed of ``base``, and all that ``other`` did.

    Both were checked; where both changed one and the same number, ``other`` has it.
    """
    tables: dict[str, Any] = {
        name: _merged_table(getattr(base, name), getattr(one, name), getattr(other, name))
        for name in _SECTIONS
    }
    sensors = tuple(map(_merged_table, base.sensors, one.sensors, other.sensors))
    return replace(one, **tables, sensors=sensors, tolerances=_merged_tolerances(base, one, other))


def _merged_table(base: Any, one: Any, other: Any) -> Any:
    if not isinstance(base, BaseModel) or other == base:
        return one
    changed = {
        key: value for key in type(base).model_fields if (value := getattr(other, key)) != getattr(base, key)
    }
    return one.model_copy(update=changed)


def _merged_tolerances(base: Lift, one: Lift, other: Lift) -> tuple[Tolerance, ...]:
    before = {each.key: each for each in base.tolerances}
    changed = {each.key: each for each in other.tolerances if each != before.get(each.key)}
    return tuple(changed.get(each.key, each) for each in one.tolerances)


@dataclass(frozen=True)
class Cell:
    """One cell: the setting and the runs that the kernel takes."""

    setting: Setting
    runs: Records


@dataclass(frozen=True)
class Strip:
    """Drawn runs of one lift, from which those of the cells along a strip are made."""

    setting: Setting
    draws: Draws
    made: Batch

    def cell(self, lift: Lift) -> Cell | None:
        """The cell of a lift that differs in speed or mounting height; None where it is never made."""
        moved_m = (_mount_mm(lift) - _mount_mm(self.setting.lift)) * MM
        if self.setting.trip_m + moved_m <= 0.0 and lift.sensor().kind is not SensorKind.STALL:
            return None
        setting = _moved_setting(self.setting, lift, moved_m)
        return Cell(setting, self._moved_runs(setting, moved_m) if moved_m else self.made.runs)

    def margins(self, cell: Cell) -> Floats:
        """``run_margins`` of the cell's runs."""
        setting, results = cell.setting, np.empty((len(cell.runs), len(RESULT_COLUMNS)))
        simulate_block(
            cell.runs, self.made.sensor.signal, setting.periods_s, setting.kernel_table(), setting.seed,
            self.made.indices, new_scratch(setting.error_share), results,
        )  # fmt: skip
        moving = results[:, RESULT_COLUMNS.index("moving_at_end")] > 0.0
        return run_margins(setting.lift, metrics(results, setting.lift), moving)

    def _moved_runs(self, setting: Setting, moved_m: float) -> Records:
        runs = self.made.runs.copy()
        for height in ("fine_low_m", "coarse_low_m", "trip_m", "release_m", "window_low_m", "reference_m"):
            runs[height] += moved_m
        runs.zone_high_m = setting.zone_m[1]
        below = runs.trip_m <= 0.0
        # what is not made on the travel is measured from where a healthy one would have tripped
        runs.trip_m = np.where(below, setting.trip_m, runs.trip_m)
        runs.release_m = np.where(below, setting.release_m, runs.release_m)
        runs.window_low_m = np.where(below, setting.window_low_m, runs.window_low_m)
        table = setting.lift.lift
        runs.start_m = start_heights(
            self.draws, table.start_mm * MM, table.travel_mm * MM, runs.trip_m, runs.window_low_m
        )
        return runs


def strip_of(lift: Lift, seed: int, periods_s: Floats | None, runs: Indices) -> Strip | None:
    """Draw the runs of a lift; None where its sensor is never made, or lets go nowhere on the travel."""
    try:
        setting = prepare(lift, seed, periods_s)
    except InputError:
        return None
    if not np.isfinite(setting.trip_m):
        return None
    return Strip(setting, draw(lift, seed, runs), batch(setting, runs))


def _moved_setting(old: Setting, lift: Lift, moved_m: float) -> Setting:
    low_m, high_m = old.zone_m
    zone_m, trip_m = (low_m + moved_m, high_m + moved_m), old.trip_m + moved_m
    table = _table(old, lift, zone_m, trip_m)
    return replace(
        old,
        lift=lift,
        table=table,
        compiled=_compiled(old, table),
        trip_m=trip_m,
        release_m=old.release_m + moved_m,
        window_low_m=old.window_low_m + moved_m,
        zone_m=zone_m,
    )


def _table(old: Setting, lift: Lift, zone_m: tuple[float, float], trip_m: float) -> Table:
    if lift.own_routine is not None:
        return old.table
    stall = lift.sensor().kind is SensorKind.STALL
    return builtin_table(routine_settings(lift, zone_m, trip_m, stall))


def _compiled(old: Setting, table: Table) -> CompiledTable:
    """The table compiled; where only its numbers are new, the rest is taken over."""
    if table.rows != old.table.rows or len(table.phases) != len(old.table.phases):
        return compile_table(table)
    return replace(
        old.compiled,
        phase_value=np.array([phase.command.value for phase in table.phases]),
        parameters=np.array([ask.a for ask in table.conditions]),
    )


def _mount_mm(lift: Lift) -> float:
    return typical(lift.sensor().mount_mm)


def run_margins(lift: Lift, found: Mapping[str, Floats], moving_at_end: NDArray[np.bool_]) -> Floats:
    """Margin of every requirement in every run, (requirements, runs); infinite where it has no say.

    A margin is 1 - value / limit: 0 at the limit, 1 where nothing is used up, ``LEAST_MARGIN`` at the least.
    A requirement whose limit is 0 (none may happen) has no scale: broken it counts as ``LEAST_MARGIN``,
    kept it has no say. The same goes for a run that has to have a value and has none.

    Parameters
    ----------
    lift : Lift
    found : mapping
        Name of each metric to its values, (runs,).
    moving_at_end : ndarray, shape (runs,)
    """
    rows = []
    for each in requirements_for(lift):
        values = moving_at_end.astype(np.float64) if each.name == MOVING else found[each.name]
        limit, values = limit_of(lift, each), np.abs(values) if each.absolute else values
        scaled = 1.0 - values / limit if limit > 0.0 else np.full(len(values), np.inf)
        broken = failing(each, values, limit) & ~(scaled < 0.0)
        rows.append(np.where(broken, LEAST_MARGIN, np.maximum(scaled, LEAST_MARGIN)))
    margins = np.array(rows)
    return np.where(np.isnan(margins), np.inf, margins)


def counted_worst(margins: Floats) -> tuple[float, int]:
    """The margin that counts (see ``WHOLE_RUNS``), and the row of the requirement that has it."""
    of_run = margins.min(axis=0)
    run = int(np.argsort(of_run, kind="stable")[min(COUNTED_WORST, len(of_run) - 1)])
    return float(of_run[run]), int(np.argmin(margins[:, run]))


def hardest_first(margins: Floats, most: int) -> Indices:
    """Places of the runs with the least margin, the worst first, at most so many."""
    return np.argsort(margins.min(axis=0), kind="stable")[:most]


def hard_runs(orders: Sequence[Indices], most: int) -> Indices:
    """Numbers of the runs that are hard somewhere, at most so many: every worst one, every second worst ...

    A run brings its own random numbers wherever it is run, so that the run with the weakest magnet, or the
    fullest battery, is a hard one in all of the neighbourhood.
    """
    ranked = np.array(orders).T.ravel()
    first = np.sort(np.unique(ranked, return_index=True)[1])
    return np.sort(ranked[first][:most])
