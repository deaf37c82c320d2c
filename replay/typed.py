"""JSON lines and Parquet to a table of cells."""

from __future__ import annotations

import json
from io import BytesIO
from typing import Any

import numpy as np
import polars as pl

from replay.defects import DefectKind, defect
from replay.headers import Header, header
from replay.table import Table
from replay.units import Unit
from sensor_models.errors import InputError


def read_json_lines(text: str, source: str) -> Table:
    """Read one JSON object a line; nested objects become ``outer.inner``.

    Raises
    ------
    InputError
        When fewer than half of the lines are objects.
    """
    lines = [(number, line) for number, line in enumerate(text.split("\n"), start=1) if line.strip()]
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
    except (json.JSONDecodeError, RecursionError):
        return None
    return dict(_flat(value, "")) if isinstance(value, dict) else None


def _flat(value: dict[str, Any], prefix: str) -> list[tuple[str, str | None]]:
    flat: list[tuple[str, str | None]] = []
    for key, inner in value.items():
        if isinstance(inner, dict):
            flat += _flat(inner, f"{prefix}{key}.")
        else:
            flat.append((prefix + key, None if inner is None else _cell(inner)))
    return flat


def _cell(value: Any) -> str:
    # text as it is; numbers and truth as JSON spells them, with all digits
    return value if isinstance(value, str) else json.dumps(value)


def read_parquet(data: bytes, source: str) -> Table:
    """Read a Parquet file; date-time columns become nanosecond stamps.

    Raises
    ------
    InputError
        When it is damaged (a Parquet file that was not closed cannot be read at all).
    """
    try:
        frame = pl.read_parquet(BytesIO(data))
    except (pl.exceptions.PolarsError, OSError, ValueError) as problem:
        reason = str(problem).splitlines()[0] if str(problem) else type(problem).__name__
        raise InputError(f"must be a whole Parquet file ({reason})", file=source) from None
    pairs = [_column(column) for column in frame.get_columns()]
    return Table(
        source=source,
        headers=tuple(head for head, _ in pairs),
        columns=tuple(cells for _, cells in pairs),
        row=np.arange(frame.height, dtype=np.int64),
        rows=frame.height,
    )


def _column(column: pl.Series) -> tuple[Header, pl.Series]:
    head = header(column.name)
    stamps = None
    if column.dtype == pl.Datetime or column.dtype == pl.Date:
        stamps = column.cast(pl.Datetime("ns")).cast(pl.Int64)
    elif column.dtype == pl.Duration or column.dtype == pl.Time:
        stamps = (column.cast(pl.Duration("ns")) if column.dtype == pl.Duration else column).cast(pl.Int64)
    if stamps is not None:
        return Header(head.text, head.parts, Unit.NANOSECOND), stamps
    return head, column
