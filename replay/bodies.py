"""Rows of separated text to columns, numbers read as such while the text is parsed.

A guess from rows spread over the text says which columns are numbers. polars reads those as numbers; where
a cell is not one, the column is read again as text, so that a wrong guess costs time and nothing else.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass, replace

import polars as pl

from sensor_models.errors import InputError

#: Rows that are looked at to guess which columns are numbers.
GUESSED_ROWS = 200

#: Characters told of a library's own message.
REASON_TOLD = 120

# leading zeros are kept as text: they are names or bit patterns
_WHOLE = re.compile(r"[+-]?(?:0|[1-9]\d{0,18})")
_NUMBER = re.compile(r"[+-]?(?:0|[1-9]\d*)(?:\.\d*)?(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class Form:
    """How rows are written: what separates cells, how many there are, and whether some are quoted."""

    separator: str
    width: int
    quoted: bool = False
    decimal_comma: bool = False


def parsed(
    data: bytes, form: Form, source: str, whole: bool = False, above: int = 0
) -> tuple[pl.Series, ...]:
    """Columns of rows that all have ``form.width`` cells, below the first ``above`` lines.

    With ``whole`` the last column must not be empty anywhere, as it is where a line is no row.

    Raises
    ------
    InputError
        When quotes do not pair up, or a line is no row.
    """
    spread = _spread_rows(data, offset_of(data, above), form.separator)
    rows = [row for row in spread if len(row) == form.width]
    if form.separator != "," and b"." not in data:
        # with both signs in the text each column is judged on its own, from all its cells
        form = replace(form, decimal_comma=True)
    kinds = _guess(rows, form)
    frame = _read(data, form, kinds, source, above)
    if whole and frame[frame.columns[-1]].null_count() > 0:
        raise InputError("must be rows of cells throughout", file=source)
    doubtful = [name for name, kind in kinds.items() if kind != pl.String and frame[name].null_count() > 0]
    if not doubtful:
        return tuple(frame.get_columns())
    as_text = _read(data, form, dict.fromkeys(kinds, pl.String), source, above, doubtful)
    if as_text.height != frame.height:
        raise InputError(f"must be rows of {form.width} cells; quotes do not pair up", file=source)
    return tuple(
        _settled(column, as_text[column.name]) if column.name in doubtful else column
        for column in frame.get_columns()
    )


def _settled(numbers: pl.Series, text: pl.Series) -> pl.Series:
    """Numbers where every cell is one or empty; the text otherwise."""
    if numbers.null_count() == text.null_count():
        return numbers
    floats = text.cast(pl.Float64, strict=False)
    return floats if floats.null_count() == text.null_count() else text


def _read(
    data: bytes,
    form: Form,
    kinds: dict[str, type[pl.DataType]],
    source: str,
    above: int,
    columns: list[str] | None = None,
) -> pl.DataFrame:
    try:
        with warnings.catch_warnings():
            # of quotes that do not pair up, which the number of rows tells as well
            warnings.simplefilter("ignore")
            return pl.read_csv(
                data,
                separator=form.separator,
                has_header=False,
                skip_rows=above,
                schema=kinds,
                columns=columns,
                quote_char='"' if form.quoted else None,
                decimal_comma=form.decimal_comma,
                ignore_errors=True,
            )
    except pl.exceptions.PolarsError as problem:
        reason = shortened(str(problem).splitlines()[0])
        raise InputError(f"must be rows of {form.width} cells ({reason})", file=source) from None


def shortened(reason: str) -> str:
    """What a library says, which may quote a whole cell."""
    return reason if len(reason) <= REASON_TOLD else f"{reason[:REASON_TOLD]}..."


def _guess(rows: list[list[str]], form: Form) -> dict[str, type[pl.DataType]]:
    cells = [[row[i] for row in rows] for i in range(form.width)]
    return {f"column_{i + 1}": _kind(each, form.decimal_comma) for i, each in enumerate(cells)}


def offset_of(data: bytes, line: int) -> int:
    """Where the text below so many lines begins."""
    start = 0
    for _ in range(line):
        start = data.index(b"\n", start) + 1
    return start


def _spread_rows(data: bytes, top: int, separator: str) -> list[list[str]]:
    """Rows spread evenly over the text; quotes are not looked at, since such rows have another width."""
    rows = []
    for part in range(GUESSED_ROWS):
        start = data.find(b"\n", top + (len(data) - top) * part // GUESSED_ROWS) + 1
        end = data.find(b"\n", start)
        if start > 0 and end > start:
            rows.append(data[start:end].decode(errors="replace").split(separator))
    return rows


def _kind(cells: list[str], decimal_comma: bool) -> type[pl.DataType]:
    held = [cell.replace(",", ".") if decimal_comma else cell for cell in cells if cell]
    if not held:
        return pl.String
    if all(map(_WHOLE.fullmatch, held)):
        return pl.Int64
    return pl.Float64 if all(map(_NUMBER.fullmatch, held)) else pl.String
