"""Long layouts made wide, and values of change-only logs carried forward.

A long log has one record a line: time, name, value. Records that belong to one loop become one row. What
a change-only log does not write counts as unchanged, but only for ``HOLD_S``: a channel that has been
silent for longer may as well have died.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from replay.cells import words
from replay.columns import LogColumns
from replay.defects import DefectKind, defect
from replay.headers import header
from replay.table import Table
from replay.units import Role
from sensor_models.errors import InputError

#: How long a value counts after it was written [s]; our choice, ``hold_s`` in ``[log]`` changes it.
HOLD_S = 10.0
#: A column with more empty cells than this share holds changes only.
SPARSE = 0.5
#: Records closer together than this share of the busiest channel's step belong to one loop.
ONE_LOOP = 0.25
#: More names than this are no channels of a robot.
MOST_NAMES = 500

_NAMES = frozenset({"name", "key", "channel", "signal", "topic", "entry", "field", "variable", "tag"})
_VALUES = frozenset({"value", "val", "values", "data"})
_STAMPS = frozenset({"time", "t", "timestamp", "stamp", "epoch", "unixtime", "ms", "us", "s"})


@dataclass(frozen=True)
class _Long:
    time: int
    name: int
    value: int


def widened(table: Table, columns: LogColumns | None) -> Table:
    """The table with one column a channel; unchanged when it is wide already."""
    found = _find(table, columns)
    return table if found is None else _pivot(table, found)


def _find(table: Table, columns: LogColumns | None) -> _Long | None:
    if columns is not None and columns.name is not None and columns.value is not None:
        if Role.TIME not in columns.specs:
            raise InputError("must be given for the long layout", file=columns.source, key="log.time")
        time = columns.specs[Role.TIME].column
        return _Long(
            table.find(time, "log.time"),
            table.find(columns.name, "log.name"),
            table.find(columns.value, "log.value"),
        )
    times, names, values = (_only(table, known) for known in (_STAMPS, _NAMES, _VALUES))
    if times is None or names is None or values is None or len(table.row) < 2:
        return None
    long = _Long(times, names, values)
    channels = set(words(table.columns[long.name])[0].tolist()) - {""}
    # names repeat, and are names
    few = len(channels) <= min(MOST_NAMES, len(table.row) - 1)
    return long if few and not table.numbers(long.name).mostly_readable else None


def _only(table: Table, known: frozenset[str]) -> int | None:
    fitting = [i for i, head in enumerate(table.headers) if head.base and set(head.base) & known]
    return fitting[0] if len(fitting) == 1 else None


def _pivot(table: Table, long: _Long) -> Table:
    stamps = table.numbers(long.time)
    names, _ = words(table.columns[long.name])
    usable = stamps.readable & (names != "")
    if not usable.any():
        raise InputError("must hold a time and a name in its rows", file=table.source)
    record = np.flatnonzero(usable)
    raw = stamps.values[record] if stamps.whole is None else stamps.whole[record]
    loop = _loops((raw - raw[0]).astype(np.float64), names[record])
    value = table.columns[long.value].cast(pl.String, strict=False).gather(pl.Series(record))
    wide = _wide(record, loop, names[record], value)
    at = wide[_RECORD]
    cells = tuple(wide[name] for name in wide.columns if name not in (_RECORD, _LOOP))
    note = "records without a stamp or a name are left out"
    return replace(
        table,
        headers=(table.headers[long.time], *(header(column.name) for column in cells)),
        columns=(table.columns[long.time].gather(at), *cells),
        row=table.row[at.to_numpy()],
        damage=(*table.damage, *defect(DefectKind.EMPTY_CELL, table.row[~usable], note=note)),
        notes=(
            *table.notes,
            f"long layout: {len(record)} records of {len(cells)} channels in {len(at)} loops",
        ),
        changes_only=any(column.null_count() for column in cells),
    )


# names of channels are stripped, so that these cannot be among them
_RECORD, _LOOP = " record", " loop"


def _wide(
    record: NDArray[np.int64], loop: NDArray[np.int64], names: NDArray[np.str_], value: pl.Series
) -> pl.DataFrame:
    """One row a loop: its number, its first record, and a column a channel."""
    frame = pl.DataFrame({_RECORD: record, _LOOP: loop, "name": names, "value": value})
    wide = frame.pivot("name", index=_LOOP, values="value", aggregate_function="first")
    first = frame.group_by(_LOOP).agg(pl.col(_RECORD).min())
    return wide.join(first, on=_LOOP).sort(_RECORD)


def _loops(raw: NDArray[np.float64], names: NDArray[np.str_]) -> NDArray[np.int64]:
    """Number of the loop to which each record belongs.

    A new loop begins where the stamp moves on by a good part of a step, and where a channel writes again.
    """
    channel, count = np.unique(names, return_counts=True)
    busiest = np.diff(raw[names == channel[np.argmax(count)]])
    step = float(np.median(busiest[busiest > 0])) if np.any(busiest > 0) else 0.0
    between = np.diff(raw, prepend=raw[0])
    apart = (between > ONE_LOOP * step) | (between < 0)
    loops = np.empty(len(raw), dtype=np.int64)
    number, seen = 0, set[str]()
    for i, (name, new) in enumerate(zip(names.tolist(), apart.tolist(), strict=True)):
        if new or name in seen:
            number, seen = number + 1, set()
        seen.add(name)
        loops[i] = number
    return loops


@dataclass(frozen=True)
class Carried:
    """A column after carrying forward: where each row's value was written, and what had to be given up."""

    origin: NDArray[np.int64]
    carried: NDArray[np.bool_]
    stale: NDArray[np.bool_]
    never: NDArray[np.bool_]


def carry_forward(
    empty: NDArray[np.bool_], time_s: NDArray[np.float64], starts: NDArray[np.int64], hold_s: float
) -> Carried:
    """Where each row's value comes from when empty cells mean "unchanged".

    Parameters
    ----------
    empty : (n,) bool
        Cells that hold nothing.
    time_s : (n,) [s]
        Stamps.
    starts : (k,)
        First rows of the stretches; nothing is carried from one stretch into the next.
    hold_s : float [s]
        Oldest age at which a value still counts.
    """
    index = np.arange(len(empty))
    origin = np.maximum.accumulate(np.where(empty, -1, index))
    begin = starts[np.searchsorted(starts, index, side="right") - 1]
    never = origin < begin
    origin = np.where(never, index, origin)
    stale = ~never & (time_s - time_s[origin] > hold_s)
    return Carried(origin, empty & ~never & ~stale, stale, never)
