"""Starting values of the slide families against what is seen in the trade.

Common practice, no source: at 900 mm of extension with 1 kg at the end. Check ranges only, never the
origin of a shipped value.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest

EXTENSION_M = 0.9

#: Family: give forwards [mm], sideways [mm], moving mass of the slides [kg].
SEEN = {"profile": (45.0, 108.0, 0.490), "drawer": (95.0, 25.0, 0.520), "wheeled": (50.0, 85.0, 0.700)}
RAIL_MASS_KG = 1.250


def spread(family: str, key: str) -> tuple[float, float]:
    table = tomllib.loads(files("homing").joinpath("data", "slides.toml").read_text(encoding="utf-8"))
    datum: dict[str, float] = table[family][key]
    return datum["low"], datum["high"]


@pytest.mark.parametrize("family", SEEN)
def test_what_is_seen_lies_within_the_stated_spread(family: str) -> None:
    forward_mm, sideways_mm, mass_kg = SEEN[family]
    for key, value in (
        ("give_forward_mm_per_m", forward_mm),
        ("give_sideways_mm_per_m", sideways_mm),
        ("mass_kg_per_m", mass_kg),
    ):
        low, high = spread(family, key)
        assert low <= value / EXTENSION_M <= high


def test_steel_rails_weigh_most_and_give_least() -> None:
    low, high = spread("rail", "mass_kg_per_m")
    assert low <= RAIL_MASS_KG / EXTENSION_M <= high
    for key in ("give_forward_mm_per_m", "give_sideways_mm_per_m"):
        assert all(spread("rail", key)[1] < spread(family, key)[0] for family in SEEN)
