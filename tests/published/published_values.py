"""Reading the data files of published numbers: one file a source, each value with its tolerance."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent


def files(*groups: str) -> list[Path]:
    """Data files whose names begin with one of the groups."""
    return sorted(path for group in groups for path in HERE.glob(f"{group}_*.toml"))


def cases(*groups: str) -> list[Any]:
    """One (value, its tolerances) parameter for every published value of the groups."""
    found = []
    for path in files(*groups):
        source = tomllib.loads(path.read_text(encoding="utf-8"))
        shared = _tolerances(source)
        for number, value in enumerate(source["values"], 1):
            name = f"{path.stem}-{number}-{value['quantity']}"
            found.append(pytest.param(value, _tolerances(value) or shared, id=name))
    return found


def check_origin(path: Path) -> None:
    """Every file says where its numbers come from, and every tolerance why it is what it is."""
    source = tomllib.loads(path.read_text(encoding="utf-8"))
    assert source["obtained"] in {"read", "computed", "from memory"}
    for key in ("title", "publisher", "place", "tolerance_reason"):
        assert source[key].strip(), key
    for value in source["values"]:
        assert bool(_tolerances(value)) == ("tolerance_reason" in value)


def _tolerances(table: dict[str, Any]) -> dict[str, float]:
    return {key: table[key] for key in ("tolerance", "relative_tolerance") if key in table}
