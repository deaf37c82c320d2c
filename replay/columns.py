"""``[log]``: which column of a log plays which role, as a lift file or ``--columns MAP.toml`` says it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from homing.values import is_number, nearest
from homing.words import Level
from replay.units import ON_OFF, Role, Unit, units_of
from sensor_models.errors import InputError

#: Roles whose sign can be turned.
SIGNED: frozenset[Role] = frozenset({Role.COUNTS, Role.COUNTS_2, Role.COMMAND, Role.TARGET})


@dataclass(frozen=True, slots=True)
class ColumnSpec:
    """One column and how to read it.

    Parameters
    ----------
    column : str
        Header of the column; in the long layout the name under which its values are recorded.
    unit : Unit, optional
        Unit of the cells; None leaves it to the header.
    active : Level
        Level at which an on/off column reads made.
    invert : bool
        True when the sign is to be turned, so that falling counts and negative commands mean inwards.
    """

    column: str
    unit: Unit | None = None
    active: Level = Level.HIGH
    invert: bool = False


@dataclass(frozen=True, slots=True)
class LogColumns:
    """The whole ``[log]`` table.

    Parameters
    ----------
    specs : mapping of Role to ColumnSpec
        Roles that are named; when any is named, no other but time and counts is looked for.
    mm_per_count : float, optional
        Carriage travel for one count [mm].
    hold_s : float, optional
        How long a value of a change-only log counts after it was written [s].
    name, value : str, optional
        Headers of the long layout (time, name, value).
    source : str
        File that says so, for messages.
    """

    specs: Mapping[Role, ColumnSpec]
    mm_per_count: float | None = None
    hold_s: float | None = None
    name: str | None = None
    value: str | None = None
    source: str = "columns"

    @classmethod
    def from_mapping(cls, table: Mapping[str, Any], source: str = "columns") -> LogColumns:
        """Check a ``[log]`` table.

        Raises
        ------
        InputError
            Names the key, what it accepts and what was found.
        """
        place = _Place(source, "log")
        known = [*(role.value for role in Role), "mm_per_count", "hold_s", "name", "value"]
        place.refuse_unknown(table, known)
        specs = {role: _spec(role, table[role.value], place.at(role.value)) for role in Role if role in table}
        name, value = (_plain_column(table, key, place) for key in ("name", "value"))
        if (name is None) != (value is None):
            raise place.at("name" if name is None else "value").error(
                'must be given too, since "name" and "value" describe the long layout together'
            )
        return cls(
            specs,
            _above_zero(table, "mm_per_count", place),
            _above_zero(table, "hold_s", place),
            name,
            value,
            source,
        )

    @classmethod
    def from_lift(cls, table: Any, source: str) -> LogColumns:
        """Check the ``[log]`` table of a lift that has been loaded: a mapping, or the lift's own model."""
        if isinstance(table, Mapping):
            return cls.from_mapping(table, source)
        plain: dict[str, Any] = {name: _plain(entry) for name, entry in table.roles.items()}
        for number in ("mm_per_count", "hold_s"):
            if getattr(table, number) is not None:
                plain[number] = getattr(table, number)
        for header in ("name", "value"):
            if getattr(table, header) is not None:
                plain[header] = {"column": getattr(table, header).column}
        return cls.from_mapping(plain, source)

    @classmethod
    def from_file(cls, path: str | Path) -> LogColumns:
        """Read the ``[log]`` table of a TOML file (a lift file will do).

        Raises
        ------
        InputError
            When there is no such file, it is no TOML, or it has no usable ``[log]`` table.
        """
        source = Path(path).name
        try:
            document = tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
        except OSError as problem:
            reason = (problem.strerror or "cannot be read").lower()
            raise InputError(f"must be a TOML file that can be read ({reason})", file=str(path)) from None
        except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
            raise InputError(f"must be a TOML file; {problem}", file=source) from None
        table = document.get("log")
        if not isinstance(table, dict):
            raise InputError(
                "must be there, as a table with time, counts and so on", file=source, key="[log]"
            )
        return cls.from_mapping(table, source)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where in a file a value stands."""

    source: str
    key: str

    def at(self, name: str) -> _Place:
        return _Place(self.source, f"{self.key}.{name}")

    def error(self, must: str, got: object = None) -> InputError:
        return InputError(must, file=self.source, key=self.key, got=got)

    def refuse_unknown(self, table: Mapping[str, Any], known: list[str]) -> None:
        for key in table:
            if key not in known:
                hint = nearest(key, known) or f"; it accepts {', '.join(known)}"
                raise InputError(f"is not a known key{hint}", file=self.source, key=f"{self.key}.{key}")


def _plain(entry: Any) -> dict[str, Any]:
    """A role of the lift's model as the table from which it was made."""
    given: dict[str, Any] = {"column": entry.column, "unit": entry.unit}
    given["active"] = None if entry.active is None else entry.active.word
    given["invert"] = entry.invert or None
    return {key: value for key, value in given.items() if value is not None}


def _spec(role: Role, given: Any, place: _Place) -> ColumnSpec:
    if not isinstance(given, Mapping):
        raise place.error('must be a table like { column = "HEADER" }', given)
    units = units_of(role)
    extra = ["active"] if role in ON_OFF else ["invert"] if role in SIGNED else []
    place.refuse_unknown(given, ["column", *(["unit"] if units else []), *extra])
    unit = None
    if "unit" in given:
        unit = next((each for each in units if each.word == given["unit"]), None)
        if unit is None:
            raise place.at("unit").error(
                f"must be one of {_listed([each.word for each in units])}", given["unit"]
            )
    active = {"high": Level.HIGH, "low": Level.LOW}.get(given.get("active", "high"))
    if active is None:
        raise place.at("active").error('must be "high" or "low"', given["active"])
    invert = given.get("invert", False)
    if not isinstance(invert, bool):
        raise place.at("invert").error("must be true or false", invert)
    return ColumnSpec(_column(given, place), unit, active, invert)


def _column(given: Mapping[str, Any], place: _Place) -> str:
    column = given.get("column")
    if not isinstance(column, str) or not column.strip():
        raise place.at("column").error("must be the header of a column", column)
    return column.strip()


def _plain_column(table: Mapping[str, Any], key: str, place: _Place) -> str | None:
    if key not in table:
        return None
    given = table[key]
    if not isinstance(given, Mapping):
        raise place.at(key).error('must be a table like { column = "HEADER" }', given)
    place.at(key).refuse_unknown(given, ["column"])
    return _column(given, place.at(key))


def _above_zero(table: Mapping[str, Any], key: str, place: _Place) -> float | None:
    if key not in table:
        return None
    value = table[key]
    if not is_number(value) or value <= 0:
        raise place.at(key).error("must be a number above 0", value)
    return float(value)


def _listed(words: list[str]) -> str:
    return ", ".join(f'"{word}"' for word in words)
