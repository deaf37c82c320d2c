"""Stamps to seconds: unit, wraps, rows without a stamp, and where time goes backwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.cells import Cells
from replay.defects import Defect, DefectKind, defect, stamp_wraps
from replay.roles import RoleChoice
from replay.table import Table
from replay.units import Quantity, Unit
from sensor_models.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Median steps between which a log of a control loop lies [s], as the contract of the program says.
SHORTEST_STEP_S, LONGEST_STEP_S = 0.2e-3, 2.0

#: Differences of whole stamps up to this long stay exact, with room for a wrap.
LONGEST_WHOLE = 2.0**62

#: So many steps tell the usual one, whatever the length of the log.
USUAL_STEPS = 1 << 17

TIME_UNITS = tuple(unit for unit in Unit if unit.quantity is Quantity.TIME)


@dataclass(frozen=True)
class Clock:
    """Stamps in seconds since the first one, the rows that have one, and the stretches of rising time.

    ``keep`` (n,) indexes the table's rows; ``time_s`` (n,) never falls within a stretch; ``starts`` are
    the first indices of the stretches; ``first`` is the first stamp as written.
    """

    time_s: Floats
    keep: Ints
    starts: Ints
    unit: Unit
    first: float
    defects: tuple[Defect, ...]
    remark: str


def read_clock(table: Table, choice: RoleChoice, cells: Cells) -> Clock:
    """Turn the time column into a clock.

    Raises
    ------
    InputError
        When fewer than two rows have a stamp, time never advances, or its unit is not plain.
    """
    name = choice.spec.column
    every = bool(cells.readable.all())
    keep = table.every_index() if every else np.flatnonzero(cells.readable)
    if len(keep) < 2:
        raise InputError("must hold a stamp in at least two rows", file=table.source, key=f"column {name}")
    since, at, bits = _since_first(cells, slice(None) if every else keep)
    before, here = since[:-1], since[1:]
    back, same = np.flatnonzero(here < before) + 1, np.flatnonzero(here == before) + 1
    if len(back) + len(same) == len(here):
        raise InputError(
            "must advance; all stamps are equal or fall", file=table.source, key=f"column {name}"
        )
    unit, remark = _unit(table, choice, _usual_step(since))
    row = table.rows_kept(keep)
    found = [
        *_missing_stamps(table, cells, name),
        *defect(
            DefectKind.DUPLICATE_STAMP,
            row[same],
            name,
            "same stamp as the row before",
        ),
        *defect(DefectKind.BACKWARD_STAMP, row[back], name, "time goes back; the log is split here"),
        *defect(DefectKind.WRAPPED_STAMP, row[at], name, f"taken out by adding 2^{bits}"),
    ]
    starts = np.concatenate([np.zeros(1, np.int64), back])
    first = float(cells.values[keep[0]])
    return Clock(_seconds(since, unit), keep, starts, unit, first, tuple(found), remark)


def _usual_step(since: Floats) -> float:
    """Median of the steps forward; of a long log, of steps spread evenly over it."""
    for apart in (max(1, len(since) // USUAL_STEPS), 1):
        steps = since[1::apart] - since[:-1:apart]
        forward = steps[steps > 0]
        if len(forward):
            return float(np.median(forward))
    raise ValueError("some step must go forward")


def _seconds(since: Floats, unit: Unit) -> Floats:
    return since if unit.per_base == 1 else since / unit.per_base


def _since_first(cells: Cells, keep: Ints | slice) -> tuple[Floats, Ints, int]:
    """Stamps less the first one, wraps taken out; where they were, and their bits."""
    values = cells.values[keep]
    if cells.whole is None or float(values.max()) - float(values.min()) > LONGEST_WHOLE:
        return values - values[0] if values[0] else values, np.empty(0, np.int64), 0
    # whole numbers are subtracted as such: a float does not hold nanoseconds since 1970
    whole, at, bits = stamp_wraps(cells.whole[keep])
    return (whole - whole[0]).astype(np.float64), at, bits


def _missing_stamps(table: Table, cells: Cells, name: str) -> list[Defect]:
    note = "rows without a stamp are left out"
    return [
        *defect(DefectKind.EMPTY_CELL, table.row[cells.empty], name, note),
        *defect(DefectKind.UNREADABLE_CELL, table.row[cells.unreadable], name, note),
    ]


def _unit(table: Table, choice: RoleChoice, median_step: float) -> tuple[Unit, str]:
    """The unit that mapping or header name, or the only one with a plausible median step."""
    fitting = [
        unit for unit in TIME_UNITS if SHORTEST_STEP_S <= median_step / unit.per_base <= LONGEST_STEP_S
    ]
    named = choice.spec.unit
    if named is not None:
        return (
            named,
            "" if named in fitting else f"a median step of {median_step / named.per_base:.3g} s is unusual",
        )
    if len(fitting) == 1:
        return fitting[0], "unit taken from the median step"
    could = " or ".join(unit.word for unit in fitting) or "none of s, ms, us, ns"
    suggested = (fitting or [Unit.MILLISECOND])[0].word
    raise InputError(
        f"must have a plain unit: at a median step of {median_step:g} it could be {could}; say which in a "
        f"file for --columns, like this:\n"
        f'[log]\ntime = {{ column = "{choice.spec.column}", unit = "{suggested}" }}',
        file=table.source,
        key=f"column {choice.spec.column}",
    )
