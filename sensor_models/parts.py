"""Named parts and magnet grades, as data with the source of every value.

The numbers stand in ``data/*.toml``, apart from the equations. Keys and units of the values are those
of a lift file's ``[[sensor]]`` table (mm, ms, mT).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind

Entry = TypeVar("Entry")

_FILES = ("hall", "reflective", "distance", "contact")


@dataclass(frozen=True)
class Fact:
    """One value of a part, its spread where the source states one, and the source.

    ``obtained`` is "read" or "from memory".
    """

    value: Any
    low: float | None
    high: float | None
    document: str
    revision: str
    place: str
    obtained: str

    @property
    def origin(self) -> str:
        """The source in one line."""
        memory = "from memory: " if self.obtained == "from memory" else ""
        return f"{memory}{self.document}, {self.revision}, {self.place}"


@dataclass(frozen=True)
class PartRecord:
    """A named part: its kind, what it is, and its values by the keys of a lift file."""

    name: str
    kind: SensorKind
    about: str
    values: Mapping[str, Fact]

    def __getitem__(self, key: str) -> Fact:
        return self.values[key]


def parts(kind: SensorKind | None = None) -> tuple[str, ...]:
    """Return the names of the parts, of one kind or of all."""
    return tuple(name for name, record in _records().items() if kind is None or record.kind is kind)


def part(name: str) -> PartRecord:
    """Return a part by name.

    Raises
    ------
    InputError
        If there is no such part; names the nearest ones.
    """
    return _named(_records(), name, "part")


def grades() -> tuple[str, ...]:
    """Return the names of the magnet grades."""
    return tuple(_grades())


def grade(name: str) -> Mapping[str, Fact]:
    """Return remanence [T] and temperature coefficient [%/K] of a magnet grade, such as "N42".

    Raises
    ------
    InputError
        If there is no such grade; names the nearest ones.
    """
    return _named(_grades(), name, "grade")


def _named(known: Mapping[str, Entry], name: str, what: str) -> Entry:
    if name in known:
        return known[name]
    near = get_close_matches(str(name), known, n=1, cutoff=0.5)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    raise InputError(f"must be one of {', '.join(known)}{hint}", key=what, got=name)


@cache
def _records() -> Mapping[str, PartRecord]:
    return {
        name: PartRecord(name, SensorKind[table["kind"].upper()], table["about"], _facts(table))
        for file in _FILES
        for name, table in _read(file).items()
    }


@cache
def _grades() -> Mapping[str, Mapping[str, Fact]]:
    return {name: _facts(table) for name, table in _read("grades").items()}


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads(files("sensor_models").joinpath("data", f"{name}.toml").read_text(encoding="utf-8"))


def _facts(table: Mapping[str, Any]) -> dict[str, Fact]:
    """Facts of one table; a value without its own document, revision or way of reading has the table's."""
    shared = {key: table[key] for key in ("document", "revision", "obtained")}
    return {
        key: Fact(**{"low": None, "high": None, **shared, **entry}) for key, entry in table["values"].items()
    }
