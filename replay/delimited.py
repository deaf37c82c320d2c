"""Separated text (CSV, TSV and their relatives) to a table of cells.

The order: find separator, header line and units in a second header row; let polars parse the rest. Where
that shows a line that is no row of cells, go through the lines: set repeated headers and lines with the wrong
number of cells aside, with their rows, and let polars parse what is left. Both ways give the same table.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from replay.bodies import Form, offset_of, parsed
from replay.defects import Defect, DefectKind, defect
from replay.dialect import SNIFFED_LINES, Head, Lines, has_quotes, head_of, lines_of, separators
from replay.table import Table
from replay.textfile import count_lines
from sensor_models.errors import InputError

#: Where a text is longer than this, separator and header are first looked for in its beginning alone.
TOP_BYTES = 1 << 16

TORN = "the last line breaks off; it is left out"


def read_delimited(data: bytes, source: str) -> Table:
    """Read separated text in UTF-8 with plain line feeds.

    Raises
    ------
    InputError
        When there is no header with data under it, or the cells do not line up with it.
    """
    top = lines_of(data[: data.rfind(b"\n", 0, TOP_BYTES) + 1])
    if len(data) > TOP_BYTES and len(top.text) >= SNIFFED_LINES:
        head, below, notes = head_of(top, source)
        # the header may be all that the beginning holds
        start = int(top.number[below]) if below < len(top.number) else 0
        table = _regular(head, data, start, source, [*notes, *_comments(top)]) if start else None
        if table is not None:
            return table
    every = lines_of(data)
    if len(every.text) == 0:
        raise InputError("must hold a header and rows; it is empty", file=source)
    head, below, notes = head_of(every, source)
    return _table(head, every.select(slice(below, None)), source, [*notes, *_comments(every)])


def _comments(lines: Lines) -> list[str]:
    return [f"{lines.skipped} comment line(s) skipped"] if lines.skipped else []


def _regular(head: Head, data: bytes, first_line: int, source: str, notes: list[str]) -> Table | None:
    """The table of a text in which every line below the header is a row of cells; None where one is not.

    That is told without going through the lines: a line that is blank, torn or repeats the header leaves
    the last column empty, and one with too many cells is refused.
    """
    width, above = len(head.names), first_line - 1
    start = offset_of(data, above)
    data, torn = _without_torn_line(data, head.separator, width)
    if width < 2 or data.find(b'"', start) >= 0 or data.find(b"#", start) >= 0:
        return None
    try:
        # what stands above is skipped and not cut off: to cut a long text is to copy it
        columns = parsed(data, Form(head.separator, width), source, whole=True, above=above)
    except InputError:
        return None
    rows = count_lines(data) - above
    if len(columns[0]) != rows or _repeats(head, columns):
        return None
    damage = defect(DefectKind.TORN_LAST_LINE, [rows] * torn, note=TORN)
    return Table(
        source=source,
        headers=head.headers,
        columns=columns,
        row=np.arange(rows),
        rows=rows + torn,
        damage=tuple(damage),
        notes=tuple(notes),
        first_line=first_line,
    )


def _without_torn_line(body: bytes, separator: str, width: int) -> tuple[bytes, bool]:
    """The text without blank lines behind them and without a last line that has too few cells."""
    if body.endswith(b"\n\n"):
        body = body.rstrip(b"\n")
    last = body.rfind(b"\n", 0, len(body) - 1) + 1
    torn = last > 0 and body.count(separator.encode(), last) < width - 1
    return (body[:last] if torn else body), torn


def _repeats(head: Head, columns: tuple[pl.Series, ...]) -> bool:
    """True when a row may be the header again: it would have made every column one of texts."""
    for name, column in zip(head.names, columns, strict=True):
        if column.dtype == pl.String:
            return bool((column.unique().str.strip_chars() == name).any())
    return False


def _table(head: Head, body: Lines, source: str, notes: list[str]) -> Table:
    repeated = body.text.str.strip_chars().is_in([line.strip() for line in head.lines]).to_numpy()
    data = body.select(~repeated)
    cells = separators(data.text, head.separator) + 1
    head = _with_trailing_column(head, cells, data.text)
    width = len(head.names)
    whole = cells == width
    _check_widths(cells, width, head.separator, source)
    return Table(
        source=source,
        headers=head.headers,
        columns=_parse(data.text.filter(pl.Series(whole)), head.separator, width, source),
        row=np.flatnonzero(whole),
        rows=len(data.text),
        damage=(*_repeated_headers(repeated), *_bad_lines(whole, cells, width)),
        notes=tuple(notes),
        first_line=int(data.number[0]) if len(data.text) else 0,
    )


def _repeated_headers(repeated: NDArray[np.bool_]) -> list[Defect]:
    # a repeated header is told by the data row that follows it
    rows = np.unique(np.cumsum(~repeated, dtype=np.int64)[repeated])
    note = "logging was started again here; the header line is left out"
    return defect(DefectKind.REPEATED_HEADER, rows, note=note)


def _check_widths(cells: NDArray[np.int64], width: int, separator: str, source: str) -> None:
    if len(cells) == 0 or np.sum(cells == width) * 2 >= len(cells):
        return
    usual = int(Counter(cells.tolist()).most_common(1)[0][0])
    comma = ", where a decimal comma cannot be told from a separator (write ; or tab between the cells)"
    raise InputError(
        f"must have as many cells in each row as the header has columns ({width}); most rows have "
        f"{usual}{comma if separator == ',' else ''}",
        file=source,
    )


def _with_trailing_column(head: Head, cells: NDArray[np.int64], lines: pl.Series) -> Head:
    """Allow for a separator at the end of every row that the header lacks."""
    more = cells == len(head.names) + 1
    if len(cells) and more.sum() * 2 > len(cells):
        ends = lines.filter(pl.Series(more)).str.strip_chars_end(" ").str.ends_with(head.separator)
        if bool(ends.all()):
            return replace(head, names=[*head.names, ""], units=[*head.units, ""])
    return head


def _bad_lines(whole: NDArray[np.bool_], cells: NDArray[np.int64], width: int) -> list[Defect]:
    bad = np.flatnonzero(~whole)
    last = len(whole) - 1
    torn = bad[(bad == last) & (cells[bad] < width)]
    broken = np.setdiff1d(bad, torn)
    return [
        *defect(DefectKind.TORN_LAST_LINE, torn, note=TORN),
        *defect(DefectKind.BROKEN_LINE, broken, note=f"not {width} cells; the line is left out"),
    ]


def _parse(lines: pl.Series, separator: str, width: int, source: str) -> tuple[pl.Series, ...]:
    if len(lines) == 0:
        return tuple(pl.Series([], dtype=pl.String) for _ in range(width))
    quoted = has_quotes(lines)
    if quoted:
        # a quote only works right after its separator, and only in pairs
        lines = lines.str.replace_all(rf'{separator} +"', f'{separator}"').str.replace_all(r'^ +"', '"')
    columns = parsed(lines.str.join("\n")[0].encode(), Form(separator, width, quoted), source)
    if len(columns) != width or len(columns[0]) != len(lines):
        raise InputError(f"must be {len(lines)} rows of {width} cells; quotes do not pair up", file=source)
    return columns
