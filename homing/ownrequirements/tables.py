"""``[[requirement]]``: read and checked. The formula itself is judged when it is first evaluated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from homing.values import nearest
from sensor_models.errors import InputError

KEYS = ("name", "formula", "unit", "why")
REQUIRED_KEYS = ("name", "formula")


@dataclass(frozen=True)
class OwnRequirement:
    """A formula that has to hold over every run; ``unit`` is that of its robustness."""

    name: str
    formula: str
    unit: str = ""
    why: str = ""


def read_requirements(given: Any, taken: tuple[str, ...], file: str) -> tuple[OwnRequirement, ...]:
    """Requirements from the tables of a file.

    Parameters
    ----------
    given : object
        What the file has under ``requirement``.
    taken : tuple of str
        Names that are in use already.
    """
    if not isinstance(given, list) or not all(isinstance(table, dict) for table in given):
        must = "must be a list of tables, each written [[requirement]] (limits belong in [requirements])"
        raise InputError(must, file=file, key="requirement")
    found: list[OwnRequirement] = []
    for row, table in enumerate(given, start=1):
        made = _one(table, row, file)
        if made.name in (*taken, *(each.name for each in found)):
            raise InputError(
                "must be a name of its own", file=file, key=f"requirement[{row}].name", got=made.name
            )
        found.append(made)
    return tuple(found)


def _one(table: Mapping[str, Any], row: int, file: str) -> OwnRequirement:
    for key, value in table.items():
        if key not in KEYS:
            hint = nearest(key, KEYS) or f"; accepted are {', '.join(KEYS)}"
            raise InputError(f"is not a known key{hint}", file=file, key=f"requirement[{row}].{key}")
        if not isinstance(value, str) or (key in REQUIRED_KEYS and not value.strip()):
            raise InputError("must be text", file=file, key=f"requirement[{row}].{key}", got=value)
    for key in REQUIRED_KEYS:
        if key not in table:
            raise InputError("must be given", file=file, key=f"requirement[{row}].{key}")
    return OwnRequirement(**table)
