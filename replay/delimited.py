"""Separated text (CSV, TSV and their relatives) to a table of cells.

The order: find separator and header line; set repeated headers and lines with the wrong number of cells
aside, with their rows; let polars parse what is left, all as text; look for units in a second header row.
"""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from replay.defects import Defect, DefectKind, defect
from replay.headers import header, is_number_cell, is_unit_row
from replay.table import Table
from sensor_models.errors import InputError

SEPARATORS = ("\t", ";", ",")
#: Lines looked at to find separator and header.
SNIFFED_LINES = 200


@dataclass(frozen=True)
class _Lines:
    """Lines that are neither blank nor comments, with their numbers in the file counted from 1."""

    text: pl.Series
    number: NDArray[np.int64]
    skipped: int

    def select(self, keep: NDArray[np.bool_] | slice) -> _Lines:
        text = self.text[keep] if isinstance(keep, slice) else self.text.filter(pl.Series(keep))
        return _Lines(text, self.number[keep], self.skipped)


@dataclass(frozen=True)
class _Head:
    """The header: names and units of the columns, and the lines that hold them."""

    separator: str
    names: list[str]
    units: list[str]
    lines: list[str]


def read_delimited(text: str, source: str) -> Table:
    """Read separated text.

    Raises
    ------
    InputError
        When there is no header with data under it, or the cells do not line up with it.
    """
    lines = _lines(text)
    if len(lines.text) == 0:
        raise InputError("must hold a header and rows; it is empty", file=source)
    separator, at = _dialect(lines.text.head(SNIFFED_LINES).to_list())
    names = _cells(lines.text[at], separator)
    _check_header(names, source)
    notes = [f"{at} line(s) before the header skipped"] if at else []
    notes += [f"{lines.skipped} comment line(s) skipped"] if lines.skipped else []
    below = _cells(lines.text[at + 1], separator) if len(lines.text) > at + 1 else []
    if is_unit_row(below) and len(below) == len(names):
        head = _Head(separator, names, below, [lines.text[at], lines.text[at + 1]])
    else:
        head = _Head(separator, names, [""] * len(names), [lines.text[at]])
    return _table(head, lines.select(slice(at + len(head.lines), None)), source, notes)


def _lines(text: str) -> _Lines:
    every = pl.Series(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), dtype=pl.String)
    bare = every.str.strip_chars()
    # "sep=;" is a hint that spreadsheets write for each other
    comment = bare.str.starts_with("#") | bare.str.to_lowercase().str.starts_with("sep=")
    keep = ((bare.str.len_bytes() > 0) & ~comment).to_numpy()
    return _Lines(every.filter(pl.Series(keep)), np.flatnonzero(keep) + 1, int(comment.sum()))


def _count(lines: pl.Series, separator: str) -> NDArray[np.int64]:
    """Separators in each line, those within quotes left out."""
    outside = lines.str.replace_all('"[^"]*"', "")
    return outside.str.count_matches(separator, literal=True).to_numpy().astype(np.int64)


def _dialect(lines: list[str]) -> tuple[str, int]:
    """The separator, and the index of the header line.

    The header is the first line that has as many cells as most lines have. Tab and semicolon are asked
    before the comma, which may also be a decimal sign.
    """
    series = pl.Series(lines, dtype=pl.String)
    best = (0, ",", 0)
    for separator in SEPARATORS:
        counts = _count(series, separator).tolist()
        usual, _ = Counter(counts[1:] or counts).most_common(1)[0]
        start = next((i for i, n in enumerate(counts) if n == usual), 0)
        if usual > 0 and start < max(1, len(lines) // 2):
            if start and _mostly_numbers(_cells(lines[start], separator)):
                # rows of numbers that no header fits: the fullest line above them was meant to be it
                start = counts.index(max(counts[:start]))
            return separator, start
        if max(counts) > best[0]:
            best = (max(counts), separator, counts.index(max(counts)))
    # no header lines up with its rows: take the fullest line, so that the message can say what is wrong
    return best[1], 0


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True))]


def _mostly_numbers(cells: list[str]) -> bool:
    return sum(map(is_number_cell, cells)) * 2 > len(cells)


def _check_header(names: list[str], source: str) -> None:
    if _mostly_numbers(names):
        raise InputError("must name the columns", file=source, key="first line", got=", ".join(names)[:80])


def _table(head: _Head, body: _Lines, source: str, notes: list[str]) -> Table:
    repeated = body.text.str.strip_chars().is_in([line.strip() for line in head.lines]).to_numpy()
    data = body.select(~repeated)
    cells = _count(data.text, head.separator) + 1
    head = _with_trailing_column(head, cells, data.text)
    width = len(head.names)
    whole = cells == width
    _check_widths(cells, width, head.separator, source)
    return Table(
        source=source,
        headers=tuple(header(name, unit) for name, unit in zip(head.names, head.units, strict=True)),
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


def _with_trailing_column(head: _Head, cells: NDArray[np.int64], lines: pl.Series) -> _Head:
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
        *defect(DefectKind.TORN_LAST_LINE, torn, note="the last line breaks off; it is left out"),
        *defect(DefectKind.BROKEN_LINE, broken, note=f"not {width} cells; the line is left out"),
    ]


def _parse(lines: pl.Series, separator: str, width: int, source: str) -> tuple[pl.Series, ...]:
    if len(lines) == 0:
        return tuple(pl.Series([], dtype=pl.String) for _ in range(width))
    quoted = bool(lines.str.contains('"', literal=True).any())
    if quoted:
        # a quote only works right after its separator, and only in pairs
        lines = lines.str.replace_all(rf'{separator} +"', f'{separator}"').str.replace_all(r'^ +"', '"')
        quoted = not bool((lines.str.count_matches('"', literal=True) % 2 == 1).any())
    try:
        frame = pl.read_csv(
            "\n".join([*lines.to_list(), ""]).encode(),
            separator=separator,
            has_header=False,
            infer_schema=False,
            quote_char='"' if quoted else None,
        )
    except pl.exceptions.PolarsError as problem:
        raise InputError(f"must be rows of cells ({problem})", file=source) from None
    if frame.shape != (len(lines), width):
        raise InputError(f"must be {len(lines)} rows of {width} cells; quotes do not pair up", file=source)
    return tuple(frame.get_columns())
