"""Lines of separated text, and what the first ones say: the separator and which line is the header."""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from replay.headers import Header, header, is_number_cell, is_unit_row
from replay.table import check_columns
from sensor_models.errors import InputError

SEPARATORS = ("\t", ";", ",")
#: Lines looked at to find separator and header.
SNIFFED_LINES = 200


@dataclass(frozen=True)
class Lines:
    """Lines that are neither blank nor comments, with their numbers in the file counted from 1."""

    text: pl.Series
    number: NDArray[np.int64]
    skipped: int

    def select(self, keep: NDArray[np.bool_] | slice) -> Lines:
        text = self.text[keep] if isinstance(keep, slice) else self.text.filter(pl.Series(keep))
        return Lines(text, self.number[keep], self.skipped)


@dataclass(frozen=True)
class Head:
    """The header: names and units of the columns, and the lines that hold them."""

    separator: str
    names: list[str]
    units: list[str]
    lines: list[str]

    @property
    def headers(self) -> tuple[Header, ...]:
        return tuple(header(name, unit) for name, unit in zip(self.names, self.units, strict=True))


def lines_of(data: bytes) -> Lines:
    every = pl.Series([data.decode()], dtype=pl.String).str.split("\n").explode()
    bare = every.str.strip_chars()
    # "sep=;" is a hint that spreadsheets write for each other
    comment = bare.str.starts_with("#") | bare.str.head(4).str.to_lowercase().eq("sep=")
    keep = (bare.str.len_bytes() > 0) & ~comment
    number = np.flatnonzero(keep.to_numpy()) + 1
    return Lines(every if len(number) == len(every) else every.filter(keep), number, int(comment.sum()))


def head_of(lines: Lines, source: str) -> tuple[Head, int, list[str]]:
    """The header, the index of the first line of data, and notes."""
    separator, at = _dialect(lines.text.head(SNIFFED_LINES).to_list())
    names = _cells(lines.text[at], separator)
    _check_header(names, source)
    check_columns(len(names), source)
    notes = [f"{at} line(s) before the header skipped"] if at else []
    below = _cells(lines.text[at + 1], separator) if len(lines.text) > at + 1 else []
    if is_unit_row(below) and len(below) == len(names):
        head = Head(separator, names, below, [lines.text[at], lines.text[at + 1]])
    else:
        head = Head(separator, names, [""] * len(names), [lines.text[at]])
    return head, at + len(head.lines), notes


def _dialect(lines: list[str]) -> tuple[str, int]:
    """The separator, and the index of the header line.

    The header is the first line that has as many cells as most lines have. Tab and semicolon are asked
    before the comma, which may also be a decimal sign.
    """
    series = pl.Series(lines, dtype=pl.String)
    best = (0, ",", 0)
    for separator in SEPARATORS:
        counts = separators(series, separator).tolist()
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


def separators(lines: pl.Series, separator: str) -> NDArray[np.int64]:
    """Separators in each line, those within quotes left out."""
    outside = lines.str.replace_all('"[^"]*"', "") if has_quotes(lines) else lines
    return outside.str.count_matches(separator, literal=True).to_numpy().astype(np.int64)


def has_quotes(lines: pl.Series) -> bool:
    return bool(lines.str.contains('"', literal=True).any())


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True))]


def _mostly_numbers(cells: list[str]) -> bool:
    return sum(map(is_number_cell, cells)) * 2 > len(cells)


def _check_header(names: list[str], source: str) -> None:
    if _mostly_numbers(names):
        raise InputError("must name the columns", file=source, key="first line", got=", ".join(names)[:80])
