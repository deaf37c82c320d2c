"""A log file as a table of cells, before anyone knows what its columns are."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from homing.values import nearest
from replay.cells import Cells, numbers, readings
from replay.defects import Defect
from replay.headers import Header
from sensor_models.errors import InputError

#: More columns than this are no log of a robot, and memory goes with columns times rows.
MOST_COLUMNS = 2000
#: Messages name this many columns, and this many characters of each.
NAMES_TOLD, CHARACTERS_TOLD = 20, 60


def check_columns(count: int, source: str) -> None:
    """Refuse a table that is too wide to be a log."""
    if count > MOST_COLUMNS:
        raise InputError(f"must have at most {MOST_COLUMNS} columns; it has {count}", file=source)


def listed(names: list[str]) -> str:
    """Headers for a message, which must stay readable however many there are."""
    told = [name if len(name) <= CHARACTERS_TOLD else f"{name[:CHARACTERS_TOLD]}..." for name in names]
    more = len(told) - NAMES_TOLD
    return ", ".join(told[:NAMES_TOLD]) + (f" and {more} more" if more > 0 else "")


@dataclass(frozen=True)
class Table:
    """Cells by column, with what was wrong with the lines themselves.

    Parameters
    ----------
    source : str
        File name.
    headers : tuple of Header
        One a column.
    columns : tuple of polars.Series
        One a column, all of the same length; text, or typed where the file is.
    row : (n,) int array
        Data row of the file, counted from 0, for every row kept here; rising.
    rows : int
        Data rows in the file, those left out here included.
    damage : tuple of Defect
        Broken and torn lines, repeated headers.
    notes : tuple of str
        What was skipped or assumed, in plain words.
    first_line : int
        Line of the file on which data row 0 stands, counted from 1; 0 where a file has no lines.
    changes_only : bool
        True when a missing cell means that nothing new was written.
    """

    source: str
    headers: tuple[Header, ...]
    columns: tuple[pl.Series, ...]
    row: NDArray[np.int64]
    rows: int
    damage: tuple[Defect, ...] = ()
    notes: tuple[str, ...] = field(default=())
    first_line: int = 0
    changes_only: bool = False
    _read: dict[tuple[str, int], Cells] = field(init=False, repr=False, compare=False, default_factory=dict)

    def numbers(self, index: int) -> Cells:
        """A column as numbers; read once, since several roles ask for it."""
        key = ("numbers", index)
        if key not in self._read:
            self._read[key] = numbers(self.columns[index])
        return self._read[key]

    def whole(self, index: int) -> bool:
        """True when all numbers of a column are whole."""
        return self.numbers(index).whole is not None

    def readings(self, index: int) -> Cells:
        """A column as on/off words; read once too."""
        key = ("readings", index)
        if key not in self._read:
            column = self.columns[index]
            cells = self.numbers(index) if column.dtype.is_numeric() else None
            self._read[key] = readings(column, cells)
        return self._read[key]

    def every_index(self) -> NDArray[np.int64]:
        """Indices of all rows (n,)."""
        n = len(self.row)
        # rising numbers from 0 to n - 1 are their own indices
        return self.row if n and self.row[0] == 0 and self.row[-1] == n - 1 else np.arange(n)

    def rows_kept(self, keep: NDArray[np.int64]) -> NDArray[np.int64]:
        """Data rows of the table's rows with these rising indices."""
        return self.row if len(keep) == len(self.row) else self.row[keep]

    def find(self, column: str, key: str) -> int:
        """Index of the column with this header.

        Raises
        ------
        InputError
            When there is none (the nearest is named) or more than one.
        """
        found = [index for index, header in enumerate(self.headers) if header.text == column]
        if len(found) == 1:
            return found[0]
        names = [header.text for header in self.headers]
        if found:
            must = "must name one column, but the header has it more than once"
        else:
            hint = nearest(column, names) or f"; it has {listed(names)}"
            must = f"must be a column of the log{hint}"
        raise InputError(must, file=self.source, key=key, got=column)
