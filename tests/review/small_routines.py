"""A small sound routine, and how to make a setting of a routine, for the tests of this folder."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from homing.assembly import assemble
from homing.liftfile import parse
from homing.setting import Setting, prepare

Routine = dict[str, Any]
Rows = list[dict[str, Any]]

GUARDS: Rows = [{"when": [{"moved_mm": 700}], "to": "off"}, {"when": [{"in_phase_s": 12}], "to": "off"}]


def rows(source: str, *each: dict[str, Any], guards: bool = False) -> Rows:
    return [{"from": source, **row} for row in (*(GUARDS if guards else ()), *each)]


def sound() -> Routine:
    """If made, leave; come down until made, stop, stand, take the edge."""
    return {
        "phase": [
            {"name": "idle", "role": "start", "command": "stop"},
            {"name": "leave", "command": {"speed_mm_s": 30}},
            {"name": "down", "command": {"speed_mm_s": -60}},
            {"name": "rest", "command": {"stop": "hold"}},
            {"name": "home", "role": "zeroed", "command": "stop"},
            {"name": "off", "role": "faulted", "command": {"stop": "shorted"}},
        ],
        "row": [
            *rows("idle", {"when": ["start_requested", "made"], "to": "leave"}),
            *rows("idle", {"when": ["start_requested"], "to": "down"}),
            *rows("leave", {"when": [{"released_by_mm": 10}], "to": "down"}, guards=True),
            *rows("down", {"when": ["made"], "to": "rest", "do": ["capture_edge"]}, guards=True),
            *rows(
                "rest",
                {"when": [{"standstill_ms": 100}, {"made_times": 2}], "to": "home", "do": ["zero_at_edge"]},
                {"when": [{"in_phase_s": 2}], "to": "off"},
            ),
        ],
    }


def given_with(routine: Routine) -> dict[str, Any]:
    given = parse(files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8"), "example")
    return {**given, "routine": routine}


def setting_of(routine: Routine) -> Setting:
    return prepare(assemble(given_with(routine), "own.toml"))
