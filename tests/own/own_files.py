"""Lift files with an own table, for tests: the built-in sequence written out, and small ones."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from homing.kernel.codes import Order
from homing.liftfile import parse
from homing.own.words import CONDITIONS, EFFECTS
from homing.routine import Ask, Command, Phase, Row, Table

_PER_MM = 1000.0


def example_given() -> dict[str, Any]:
    """The built-in example as tables."""
    text = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    return parse(text, "example")


def with_own_table(given: dict[str, Any], table: Table) -> dict[str, Any]:
    """The same lift with a table written out as its own; settings of the built-in sequence fall away."""
    kept = ("sensor", "referenced_at_start", "reference_mm", "stop", "settle_ms", "no_motion_ms")
    routine = {key: value for key, value in given["routine"].items() if key in kept}
    routine["phase"] = [_phase(phase) for phase in table.phases]
    routine["row"] = [_row(table, row) for row in table.rows]
    return {**given, "routine": routine}


def _phase(phase: Phase) -> dict[str, Any]:
    return {
        "name": phase.name,
        "role": phase.role.value,
        "command": _command(phase.command),
        "why": phase.why,
    }


def _command(command: Command) -> Any:
    if command.order is Order.SPEED:
        return {"speed_mm_s": command.value * _PER_MM}
    if command.order is Order.DUTY:
        return {"duty": command.value}
    return {"stop": command.order.name.lower()}


def _row(table: Table, row: Row) -> dict[str, Any]:
    words = {each.effect: each.word for each in EFFECTS}
    return {
        "from": row.source,
        "when": [_asked(table.condition(name)) for name in row.when],
        "unless": [_asked(table.condition(name)) for name in row.unless],
        "to": row.to,
        "do": [words[effect] for effect in row.effects],
        "why": row.why,
    }


def _asked(ask: Ask) -> Any:
    known = next(each for each in CONDITIONS if each.kind == ask.kind and each.word != "not_made")
    if known.bounds is None:
        return known.word
    value = ask.a / known.scale
    return {known.word: int(value) if known.bounds.whole else value}
