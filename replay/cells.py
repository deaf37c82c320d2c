"""Cells to values: numbers with point or comma, on/off words, and what could not be read.

A cell is *empty* when it is blank or says that there is nothing; it is *unreadable* when it says
something else than its column should. Neither is guessed: both become NaN and are counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: How loggers write "nothing" [common practice, no source].
EMPTY_WORDS = ("", "nan", "null", "none", "na", "n/a", "nil", "-", "--")

#: Larger numbers are damage: no quantity of a lift comes near, and sums and squares must stay finite.
LARGEST = 1e30

_MADE = (
    *("1", "1.0", "1,0", "true", "t", "yes", "y", "on", "high"),
    *("pressed", "closed", "made", "blocked", "triggered", "active", "detected", "seen", "touching"),
)
_NOT_MADE = (
    *("0", "0.0", "0,0", "false", "f", "no", "n", "off", "low"),
    *("released", "open", "clear", "inactive", "free", "unmade", "idle"),
)

#: On/off words and what they say about the sensor [common practice, no source].
READING_WORDS: dict[str, float] = {
    **dict.fromkeys(_MADE, 1.0),
    **dict.fromkeys(_NOT_MADE, 0.0),
    **{f"{no}{word}": 0.0 for word in _MADE[3:] for no in ("not ", "not_", "not-", "un", "non-")},
}

#: Words which speak of a switch or target and of nothing else in a log.
TELLING_WORDS = frozenset(
    {"pressed", "not pressed", "not_pressed", "released", "unpressed", "blocked", "triggered"}
)

_COMMA_NUMBER = r"^[+-]?\d+,\d+(?:[eE][+-]?\d+)?$"
_POINT_NUMBER = r"^[+-]?\d*\.\d+(?:[eE][+-]?\d+)?$"


@dataclass(frozen=True)
class Cells:
    """One column as values.

    ``values`` (n,) is NaN where ``empty`` or ``unreadable``; ``whole`` holds the same as int64 when every
    readable cell is a whole number (nanosecond stamps do not fit a float), with 0 in the NaN places.
    """

    values: Floats
    empty: Flags
    unreadable: Flags
    whole: NDArray[np.int64] | None = None

    @cached_property
    def readable(self) -> Flags:
        return ~(self.empty | self.unreadable)

    @property
    def good(self) -> Floats:
        """The values of the readable cells alone."""
        return self.values if self.readable.all() else self.values[self.readable]

    @property
    def mostly_readable(self) -> bool:
        """At least half of the cells that hold something are readable, and some are."""
        good = int(self.readable.sum())
        return good > 0 and good >= int(self.unreadable.sum())


def numbers(column: pl.Series) -> Cells:
    """Read a column of numbers; decimal comma where more cells have a comma than a point."""
    if column.dtype.is_integer() and _within_int64(column):
        return _whole(column, _nulls(column))
    if column.dtype.is_numeric():
        return _floats(column.cast(pl.Float64), _nulls(column))
    text, blank = _text(column)
    commas = int(text.str.contains(_COMMA_NUMBER).sum() or 0)
    if commas > int(text.str.contains(_POINT_NUMBER).sum() or 0):
        # a point is then no decimal sign, and must not be read as one
        text = text.str.replace_all(".", "x", literal=True).str.replace_all(",", ".", literal=True)
    whole = text.cast(pl.Int64, strict=False)
    if bool((whole.is_not_null() | blank).all()):
        return _whole(whole, blank.to_numpy())
    return _floats(text.cast(pl.Float64, strict=False), blank.to_numpy())


def readings(column: pl.Series, as_numbers: Cells | None = None) -> Cells:
    """Read a column of on/off words: 1 made, 0 not made, as the words say (before ``active = "low"``).

    ``as_numbers`` are the cells as `numbers` reads them, where that was done before.
    """
    if column.dtype == pl.Boolean:
        column = column.cast(pl.Int8)
    if column.dtype.is_numeric():
        cells = numbers(column) if as_numbers is None else as_numbers
        neither = cells.readable & (cells.values != 0) & (cells.values != 1)
        if not neither.any():
            return cells
        said = np.where(neither, np.nan, cells.values)
        return Cells(said, cells.empty, cells.unreadable | neither)
    text, blank = _text(column)
    values = text.str.to_lowercase().replace_strict(READING_WORDS, default=None, return_dtype=pl.Float64)
    return _floats(values, blank.to_numpy())


def says_pressed(column: pl.Series) -> bool:
    """True when the words of an on/off column can only be about a switch or target."""
    if column.dtype != pl.String:
        return False
    words = set(_text(column.unique())[0].str.to_lowercase().to_list())
    return bool(words & TELLING_WORDS)


def different_words(column: pl.Series) -> int:
    """How many different texts a column holds, padding left out."""
    return _text(column.unique())[0].n_unique()


def words(column: pl.Series) -> tuple[NDArray[np.str_], Flags]:
    """A column as texts (n,) without padding, and where it is empty (which gives "")."""
    each = column.cast(pl.String, strict=False)
    each = each.fill_null("") if each.null_count() else each
    kinds = each.unique()
    text, blank = _text(kinds)
    shown = np.array(text.zip_with(~blank, pl.Series([""])).to_list() or [""], dtype=np.str_)
    # states are few: each is made into a numpy text once, not once a row
    code = each.cast(pl.Enum(kinds)).to_physical().to_numpy()
    return shown[code], np.array(blank.to_numpy(), dtype=np.bool_)[code]


def _text(column: pl.Series) -> tuple[pl.Series, pl.Series]:
    text = (
        column.cast(pl.String, strict=False)
        .fill_null("")
        .str.strip_chars()
        .str.strip_chars('"')
        .str.strip_chars()
    )
    return text, text.str.to_lowercase().is_in(list(EMPTY_WORDS))


def _within_int64(column: pl.Series) -> bool:
    if column.dtype != pl.UInt64:
        return True
    return column.cast(pl.Int64, strict=False).null_count() == column.null_count()


def _nulls(column: pl.Series) -> Flags:
    # most columns have none, which is known without looking at each cell
    return column.is_null().to_numpy() if column.null_count() else np.zeros(len(column), dtype=np.bool_)


def _whole(column: pl.Series, empty: Flags) -> Cells:
    whole = (column.fill_null(0) if column.null_count() else column).cast(pl.Int64).to_numpy()
    values = whole.astype(np.float64)
    if empty.any():
        values[empty] = np.nan
    return Cells(values, empty, np.zeros(len(values), dtype=np.bool_), whole)


def _floats(column: pl.Series, empty: Flags) -> Cells:
    values = column.to_numpy().astype(np.float64, copy=False)
    # the usual case first: a NaN is neither above the one nor below the other
    if len(values) and values.min() >= -LARGEST and values.max() <= LARGEST:
        return Cells(values, empty, np.zeros(len(values), dtype=np.bool_))
    useless = empty | ~(np.abs(values) <= LARGEST)
    if column.dtype.is_float() and column.null_count() < len(column):
        # a NaN written by a typed file is an empty cell; an infinity is a cell that cannot be used
        empty = empty | (column.is_nan() & column.is_not_null()).fill_null(False).to_numpy()
    return Cells(np.where(useless, np.nan, values), empty, useless & ~empty)
