"""One column of a table to values in base units, with its defects."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from homing.words import Level
from replay.cells import words
from replay.clock import Clock
from replay.defects import (
    Defect,
    DefectKind,
    counter_breaks,
    counter_wraps,
    defect,
    gaps_and_clock_jumps,
)
from replay.layout import HOLD_S, SPARSE, carry_forward
from replay.roles import Origin, RoleChoice
from replay.table import CHARACTERS_TOLD, Table
from replay.units import ON_OFF, QUANTITIES, Quantity, Role, Unit
from sensor_models.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: Roles whose counter may wrap.
_COUNTERS = (Role.COUNTS, Role.COUNTS_2)


@dataclass(frozen=True)
class Series:
    """A column (n,) in base units with what was wrong with it and how it came to be."""

    choice: RoleChoice
    values: NDArray[Any]
    defects: tuple[Defect, ...]
    notes: tuple[str, ...]
    carried: bool

    @property
    def is_length(self) -> bool:
        """True when the column is a length [mm], not counts."""
        unit = self.choice.spec.unit
        return unit is not None and unit.quantity is Quantity.LENGTH


def read_series(table: Table, choice: RoleChoice, clock: Clock, hold_s: float | None) -> Series | None:
    """Read one column; None when an optional one is empty throughout.

    Raises
    ------
    InputError
        When the cells hold something else than the role needs, or the counts are empty.
    """
    role, name = choice.role, choice.spec.column
    row = table.rows_kept(clock.keep)
    values, empty, unreadable = _cells(table, choice, clock.keep)
    if bool(unreadable.all() or (empty | unreadable).all()):
        if not bool(unreadable.any()) and role is not Role.COUNTS:
            return None
        raise _useless(table, choice, clock.keep, empty)
    defects = defect(DefectKind.UNREADABLE_CELL, row[unreadable], name)
    notes: list[str] = []
    carried = _changes_only(table, empty)
    if carried:
        values, more, notes = _carried(values, empty, clock, hold_s, row, choice)
        defects += more
    else:
        defects += defect(DefectKind.EMPTY_CELL, row[empty], name)
    if role in _COUNTERS and choice.spec.unit in (None, Unit.COUNT) and not table.whole(choice.index):
        notes += _fractions(values, row, name)
    if role is not Role.STATE:
        values, choice, wraps = _scaled(values, choice, row)
        defects += wraps
    return Series(choice, values, tuple(defects), tuple(notes), carried)


def _fractions(counts: Floats, row: Ints, name: str) -> list[str]:
    """A note where counts are not whole: they may be a length, turns, or a mean of several readings."""
    broken = np.flatnonzero(np.isfinite(counts) & (counts != np.round(counts)))
    if len(broken) == 0:
        return []
    return [
        f"{name}: {len(broken)} counts are not whole, the first in data row {int(row[broken[0]])} "
        f"({counts[broken[0]]:g}); if they are a length, say its unit in [log]"
    ]


def _cells(table: Table, choice: RoleChoice, keep: Ints) -> tuple[NDArray[Any], Flags, Flags]:
    """Values of the rows to keep, and which of them are empty or unreadable."""
    values: NDArray[Any]
    if choice.role is Role.STATE:
        values, empty = words(table.columns[choice.index])
        unreadable = np.zeros(len(values), dtype=np.bool_)
    else:
        cells = (table.readings if choice.role in ON_OFF else table.numbers)(choice.index)
        values, empty, unreadable = cells.values, cells.empty, cells.unreadable
    if len(keep) == len(values):
        return values, empty, unreadable
    return values[keep], empty[keep], unreadable[keep]


def _useless(table: Table, choice: RoleChoice, keep: Ints, empty: Flags) -> InputError:
    key = f"column {choice.spec.column}"
    wanted = "on/off words (0, 1, true, pressed and so on)" if choice.role in ON_OFF else "numbers"
    if bool(empty.all()):
        return InputError(
            f"must hold {wanted} to be the {choice.role}; all its cells are empty", file=table.source, key=key
        )
    first = int(np.flatnonzero(~empty)[0])
    return InputError(
        f"must hold {wanted} to be the {choice.role}",
        file=table.source,
        key=f"{key}, data row {int(table.row[keep[first]])},",
        got=str(table.columns[choice.index][int(keep[first])])[:CHARACTERS_TOLD],
    )


def _changes_only(table: Table, empty: Flags) -> bool:
    return bool(empty.any()) and (table.changes_only or float(empty.mean()) >= SPARSE)


def _carried(
    values: NDArray[Any], empty: Flags, clock: Clock, hold_s: float | None, row: Ints, choice: RoleChoice
) -> tuple[NDArray[Any], list[Defect], list[str]]:
    limit = HOLD_S if hold_s is None else hold_s
    name = choice.spec.column
    found = carry_forward(empty, clock.time_s, clock.starts, limit)
    filled = values[found.origin]
    unknown = found.stale | found.never
    filled[unknown] = "" if choice.role is Role.STATE else np.nan
    defects = [
        *defect(DefectKind.EMPTY_CELL, row[found.never], name, "nothing was written before"),
        *defect(DefectKind.STALE_CELL, row[found.stale], name, f"last written more than {limit:g} s before"),
    ]
    note = (
        f"{name}: only changes are written; {int(found.carried.sum())} cells carried forward "
        f"(for at most {limit:g} s, hold_s in [log])"
    )
    return filled, defects, [note]


def _scaled(values: Floats, choice: RoleChoice, row: Ints) -> tuple[Floats, RoleChoice, list[Defect]]:
    role, spec = choice.role, choice.spec
    if role in ON_OFF:
        return (1.0 - values if spec.active is Level.LOW else values), choice, []
    unit = spec.unit or _first_unit(role)
    defects: list[Defect] = []
    if role in _COUNTERS and unit is Unit.COUNT:
        values, at, bits = counter_wraps(values)
        defects = defect(DefectKind.COUNTER_WRAP, row[at], spec.column, f"taken out by adding 2^{bits}")
    remark = choice.remark
    if choice.origin is Origin.HEADER and spec.unit is None and role in (Role.BATTERY, Role.CURRENT):
        remark = f"taken as {unit.word}"
    if unit.per_base != 1:
        values = values / unit.per_base
    if spec.invert:
        # taken from zero, so that a zero gets no sign
        values = 0.0 - values
    return values, replace(choice, spec=replace(spec, unit=unit), remark=remark), defects


def _first_unit(role: Role) -> Unit:
    quantity: Quantity = QUANTITIES[role][0]
    return next(unit for unit in Unit if unit.quantity is quantity)


def count_defects(
    table: Table, clock: Clock, counts: Series, choice: RoleChoice
) -> tuple[list[Defect], Ints]:
    """Gaps, clock jumps, counter resets and jumps, and the indices at which motion is not to be followed.

    In a change-only log a pause says nothing, so gaps are then not judged.
    """
    row = table.rows_kept(clock.keep)
    name = choice.spec.column
    none = np.empty(0, np.int64)
    gaps, leaps = (
        (none, none) if counts.carried else gaps_and_clock_jumps(clock.time_s, counts.values, clock.starts)
    )
    starts = np.union1d(clock.starts, leaps)
    resets, jumps = counter_breaks(counts.values, clock.time_s, starts)
    found = [
        *defect(DefectKind.GAP, row[gaps], note=_gap_note(clock.time_s, gaps)),
        *defect(DefectKind.CLOCK_JUMP, row[leaps], note="the count moved on by one row only"),
        *defect(DefectKind.COUNTER_RESET, row[resets], name, "set to 0 from one row to the next"),
        *defect(DefectKind.COUNTER_JUMP, row[jumps], name, "further in one row than the lift can move"),
    ]
    return found, np.unique(np.concatenate([resets, jumps, leaps]))


def _gap_note(time_s: Floats, gaps: Ints) -> str:
    if len(gaps) == 0:
        return ""
    longest = float(np.max(time_s[gaps] - time_s[gaps - 1]))
    return f"rows missing or a late loop; the longest step is {longest:.3g} s"
