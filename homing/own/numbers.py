"""The numbers of an own routine by dotted key, so that they can be varied, tuned and given tolerances.

``routine.phase.NAME.speed_mm_s`` (or ``duty``), ``routine.row.NUMBER.when.CONDITION`` and ``...unless...``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from homing.own.routine import OwnAsk, OwnPhase, OwnRoutine, OwnRow


def numbers(own: OwnRoutine) -> Iterator[tuple[str, float]]:
    """Every number of the routine, in the unit of its key."""
    for phase in own.phases:
        if phase.key is not None:
            yield f"routine.phase.{phase.name}.{phase.key}", phase.value
    for row in own.rows:
        for part, asks in (("when", row.when), ("unless", row.unless)):
            for ask in asks:
                if ask.value is not None:
                    yield f"routine.row.{row.number}.{part}.{ask.word.word}", ask.value


def with_numbers(own: OwnRoutine, changes: Mapping[str, float]) -> OwnRoutine:
    """The routine with some of its numbers changed, by the keys of ``numbers``; values are not checked again.

    Far faster than a whole lift made anew, for those who try many values.
    """
    return OwnRoutine(
        tuple(_phase_with(phase, changes) for phase in own.phases),
        tuple(_row_with(row, changes) for row in own.rows),
    )


def _phase_with(phase: OwnPhase, changes: Mapping[str, float]) -> OwnPhase:
    value = changes.get(f"routine.phase.{phase.name}.{phase.key}")
    return phase if value is None else replace(phase, value=value)


def _row_with(row: OwnRow, changes: Mapping[str, float]) -> OwnRow:
    def asks(part: str, given: tuple[OwnAsk, ...]) -> tuple[OwnAsk, ...]:
        keys = [f"routine.row.{row.number}.{part}.{ask.word.word}" for ask in given]
        return tuple(
            replace(ask, value=changes[key]) if key in changes else ask
            for key, ask in zip(keys, given, strict=True)
        )

    return replace(row, when=asks("when", row.when), unless=asks("unless", row.unless))


def place_of(routine: Mapping[str, Any], path: str) -> tuple[dict[str, Any], str] | None:
    """The table of the file that holds a number, and its key there; None if there is none.

    Parameters
    ----------
    routine : mapping
        ``[routine]`` as the file gives it.
    path : str
        Key as ``numbers`` gives it.
    """
    parts = path.split(".")
    if parts[:2] == ["routine", "phase"] and len(parts) == 4:
        return _in_phase(routine, parts[2], parts[3])
    if parts[:2] == ["routine", "row"] and len(parts) == 5 and parts[2].isdigit():
        return _in_row(routine, int(parts[2]), parts[3], parts[4])
    return None


def _in_phase(routine: Mapping[str, Any], name: str, key: str) -> tuple[dict[str, Any], str] | None:
    for phase in routine.get("phase", []):
        command = phase.get("command")
        if phase.get("name") == name and isinstance(command, dict) and key in command:
            return command, key
    return None


def _in_row(
    routine: Mapping[str, Any], number: int, part: str, key: str
) -> tuple[dict[str, Any], str] | None:
    rows = routine.get("row", [])
    if not 1 <= number <= len(rows):
        return None
    for ask in rows[number - 1].get(part, []):
        if isinstance(ask, dict) and key in ask:
            return ask, key
    return None
