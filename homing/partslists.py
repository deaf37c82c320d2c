"""The lists shipped in ``homing/data``: motors, slides, strings and stated defaults.

Each value stands there with its origin; here they are only read.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from homing.values import nearest
from sensor_models.errors import InputError


@dataclass(frozen=True, slots=True)
class Datum:
    """A value with where it comes from, and how far real parts stray from it where that is stated."""

    value: Any
    origin: str
    low: float | None = None
    high: float | None = None


@cache
def read_list(name: str) -> Mapping[str, Mapping[str, Any]]:
    """Return a list such as ``"motors"``: part or section -> key -> Datum (or plain text)."""
    text = files("homing").joinpath("data", f"{name}.toml").read_text(encoding="utf-8")
    return {part: _data(table) for part, table in tomllib.loads(text).items()}


def look_up(name: str, part: object, *, key: str, file: str | None) -> Mapping[str, Any]:
    """Return one part of a list; refuse a name that is not in it.

    Raises
    ------
    InputError
        Naming the key, the parts that exist and the nearest of them.
    """
    parts = read_list(name)
    if not isinstance(part, str) or part not in parts:
        accepted = ", ".join(f'"{each}"' for each in parts)
        raise InputError(f"must be one of {accepted}{nearest(part, parts)}", file=file, key=key, got=part)
    return parts[part]


def _data(table: Mapping[str, Any]) -> dict[str, Any]:
    return {
        key: Datum(**entry)
        if isinstance(entry, dict) and "origin" in entry
        else _data(entry)
        if isinstance(entry, dict)
        else entry
        for key, entry in table.items()
    }
