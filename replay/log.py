"""The log itself: stamps and columns by role as arrays, and what is wrong with them.

Invariants, checked when a `Log` is made: all arrays have one length and cannot be written to; stamps are
finite and never fall within a stretch, and fall from each stretch to the next; rows rise. Counts grow
outwards; lengths are in mm only where ``mm_per_count`` is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.defects import Defect
from replay.roles import RoleChoice
from replay.units import Quantity, Role, Unit

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Log:
    """A log that has been read.

    Parameters
    ----------
    source : str
        File name.
    time_s : (n,) float64 [s]
        Stamps since the first one of the file; they fall only where a new stretch begins.
    row : (n,) int64
        Data row of the file, counted from 0; rows that could not be used are missing.
    values : mapping of Role to (n,) array
        Counts and target [counts, or mm where the log is scaled], command [fraction or V], battery [V],
        current [A], sensors (1 made, 0 not made) as float64 with NaN where a cell could not be read; the
        state as texts, "" where empty.
    starts : (k,) int64
        Index of the first row of each stretch of rising time.
    roles : mapping of Role to RoleChoice
        Which column plays which role, in which unit it was written, and how that is known.
    defects : tuple of Defect
        Everything found wrong, with rows.
    notes : tuple of str
        What was assumed, skipped or left open, in plain words.
    rows : int
        Data rows in the file.
    mm_per_count : float or None
        Carriage travel for one unit of ``counts`` [mm]; 1 where they are in mm already.
    changes_only : bool
        True when the log writes only what changed, so that pauses say nothing.
    breaks : (m,) int64
        Indices at which the count was reset or jumped; motion is not followed across them.
    first_stamp : float
        First stamp as written, in the log's own unit.
    first_line : int
        Line of the file on which data row 0 stands; 0 where a file has no lines.
    """

    source: str
    time_s: Floats
    row: Ints
    values: Mapping[Role, NDArray[Any]]
    starts: Ints
    roles: Mapping[Role, RoleChoice]
    defects: tuple[Defect, ...]
    notes: tuple[str, ...]
    rows: int
    mm_per_count: float | None
    changes_only: bool
    breaks: Ints
    first_stamp: float
    first_line: int

    def __post_init__(self) -> None:
        arrays = {
            "time_s": self.time_s,
            "row": self.row,
            **{role.value: v for role, v in self.values.items()},
        }
        for name, array in arrays.items():
            if array.shape != self.time_s.shape or array.ndim != 1:
                raise ValueError(f"{name} has shape {array.shape}; the log has {self.time_s.shape}")
        if not np.all(np.isfinite(self.time_s)) or np.any(self.row[1:] <= self.row[:-1]):
            raise ValueError("stamps must be finite and rows must rise")
        falls = np.flatnonzero(self.time_s[1:] < self.time_s[:-1]) + 1
        if not np.array_equal(np.concatenate([[0], falls]), self.starts):
            raise ValueError("stretches must begin exactly where time goes back")
        if Role.TIME in self.values or set(self.values) - set(self.roles):
            raise ValueError("every column but the time needs its role")
        for array in (*arrays.values(), self.starts, self.breaks):
            array.setflags(write=False)
        for name in ("values", "roles"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    def __len__(self) -> int:
        return len(self.time_s)

    def __contains__(self, role: object) -> bool:
        return role in self.values

    def __getitem__(self, role: Role) -> NDArray[Any]:
        return self.values[role]

    @property
    def counts(self) -> Floats:
        """Counts (n,), growing outwards; NaN where unreadable."""
        return self.values[Role.COUNTS]

    @property
    def stretches(self) -> tuple[slice, ...]:
        """Index ranges in which time never falls."""
        ends = [*self.starts[1:].tolist(), len(self)]
        return tuple(slice(start, end) for start, end in zip(self.starts.tolist(), ends, strict=True))

    @property
    def duration_s(self) -> float:
        """Time logged [s], the sum over all stretches."""
        return float(sum(self.time_s[part][-1] - self.time_s[part][0] for part in self.stretches))

    @property
    def height_mm(self) -> Floats | None:
        """Spool height (n,) over the log's own zero [mm]; None where the scale is not known."""
        return None if self.mm_per_count is None else self.counts * self.mm_per_count

    @property
    def scaled_by_itself(self) -> bool:
        """True when the counts column is a length already."""
        unit = self.unit(Role.COUNTS)
        return unit is not None and unit.quantity is Quantity.LENGTH

    def unit(self, role: Role) -> Unit | None:
        """Unit in which ``values[role]`` stand; None for on/off columns and states."""
        spec = self.roles[role].spec
        return None if spec.unit is None else spec.unit.base

    def scaled(self, mm_per_count: float) -> Log:
        """The same log with a scale from outside, unless it has one of its own."""
        return self if self.mm_per_count is not None else replace(self, mm_per_count=mm_per_count)
