"""JSON lines and Parquet to a table of cells."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

import numpy as np
import polars as pl

from replay.bodies import shortened
from replay.defects import DefectKind, defect
from replay.headers import Header, header
from replay.table import Table, check_columns
from replay.units import Unit
from sensor_models.errors import InputError

#: Its file descriptor, below Python's own stream.
STANDARD_ERROR = 2


def read_json_lines(data: bytes, source: str) -> Table:
    """Read one JSON object a line; nested objects become ``outer.inner``.

    Raises
    ------
    InputError
        When fewer than half of the lines are objects.
    """
    lines = [(number, line) for number, line in enumerate(data.decode().split("\n"), start=1) if line.strip()]
    records: list[dict[str, str | None]] = []
    kept: list[int] = []
    bad: list[int] = []
    for row, (_, line) in enumerate(lines):
        record = _record(line)
        (bad if record is None else kept).append(row)
        if record is not None:
            records.append(record)
    if len(bad) > len(kept):
        raise InputError("must hold one JSON object a line; most lines do not", file=source)
    torn = [row for row in bad if row == len(lines) - 1]
    damage = [
        *defect(DefectKind.TORN_LAST_LINE, torn, note="the last line breaks off; it is left out"),
        *defect(
            DefectKind.BROKEN_LINE, [row for row in bad if row not in torn], note="no JSON object; left out"
        ),
    ]
    names = list(dict.fromkeys(name for record in records for name in record))
    check_columns(len(names), source)
    return Table(
        source=source,
        headers=tuple(header(name) for name in names),
        columns=tuple(pl.Series([record.get(name) for record in records], dtype=pl.String) for name in names),
        row=np.array(kept, dtype=np.int64),
        rows=len(lines),
        damage=tuple(damage),
        first_line=lines[0][0],
    )


def _record(line: str) -> dict[str, str | None] | None:
    try:
        value = json.loads(line)
    except (ValueError, RecursionError):
        # a whole number of thousands of digits is a ValueError too
        return None
    return dict(_flat(value, "")) if isinstance(value, dict) else None


def _flat(value: dict[str, Any], prefix: str) -> list[tuple[str, str | None]]:
    flat: list[tuple[str, str | None]] = []
    for key, inner in value.items():
        if isinstance(inner, dict):
            flat += _flat(inner, f"{prefix}{key}.")
        else:
            flat.append((_text(prefix + key), None if inner is None else _cell(inner)))
    return flat


def _cell(value: Any) -> str:
    # text as it is; numbers and truth as JSON spells them, with all digits
    return _text(value) if isinstance(value, str) else json.dumps(value)


def _text(value: str) -> str:
    # half a surrogate pair, which JSON allows, is no text
    return value.encode(errors="replace").decode()


def read_parquet(data: bytes, source: str) -> Table:
    """Read a Parquet file; date-time columns become nanosecond stamps.

    Raises
    ------
    InputError
        When it is damaged (a Parquet file that was not closed cannot be read at all).
    """
    try:
        with _silenced():
            frame = pl.read_parquet(BytesIO(data))
    except pl.exceptions.PanicException:
        raise InputError("must be a whole Parquet file; bits inside it are wrong", file=source) from None
    except (pl.exceptions.PolarsError, OSError, ValueError) as problem:
        reason = shortened(str(problem).splitlines()[0]) if str(problem) else type(problem).__name__
        raise InputError(f"must be a whole Parquet file ({reason})", file=source) from None
    check_columns(frame.width, source)
    pairs = [_column(column) for column in frame.get_columns()]
    return Table(
        source=source,
        headers=tuple(head for head, _ in pairs),
        columns=tuple(cells for _, cells in pairs),
        row=np.arange(frame.height, dtype=np.int64),
        rows=frame.height,
    )


@contextmanager
def _silenced() -> Iterator[None]:
    """Nothing goes to standard error: before polars raises a panic it prints its own call stack there."""
    before = os.dup(STANDARD_ERROR)
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), STANDARD_ERROR)
            yield
    finally:
        os.dup2(before, STANDARD_ERROR)
        os.close(before)


def _column(column: pl.Series) -> tuple[Header, pl.Series]:
    head = header(column.name)
    stamps = None
    if column.dtype == pl.Datetime or column.dtype == pl.Date:
        # a date that nanoseconds since 1970 cannot hold becomes an empty cell
        stamps = column.cast(pl.Datetime("ns"), strict=False).cast(pl.Int64)
    elif column.dtype == pl.Duration or column.dtype == pl.Time:
        stamps = (
            column.cast(pl.Duration("ns"), strict=False) if column.dtype == pl.Duration else column
        ).cast(pl.Int64)
    if stamps is not None:
        return Header(head.text, head.parts, Unit.NANOSECOND), stamps
    return head, column
