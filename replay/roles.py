"""Which column plays which role, from headers and values, or as ``[log]`` says.

Recognition goes by word parts: a header that is exactly a role's name counts 3, one with a word that
means this role 2, with a word that may mean it 1. Of the columns whose values can be the role at all the
highest wins; of two that are equal none is taken, unless they are a left and a right one. Time and counts
must be found; other roles stay open, with a note.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from homing.words import Level
from replay.columns import ColumnSpec, LogColumns
from replay.headers import Header
from replay.table import Table, listed
from replay.units import ON_OFF, QUANTITIES, REQUIRED, SECOND, Quantity, Role, Unit
from replay.values import fits, guess_command_unit, tells_sensor, unfit
from replay.vocabulary import EXACT, NEVER, PAIRS, READING, STRONG, WEAK
from sensor_models.errors import InputError


class Origin(Enum):
    """How a column came to its role."""

    MAPPING = "mapping"
    HEADER = "header"
    VALUES = "values"


@dataclass(frozen=True, slots=True)
class RoleChoice:
    """A column in its role: index in the table, how to read it, and how that is known."""

    role: Role
    index: int
    spec: ColumnSpec
    origin: Origin
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Roles:
    """All roles found, and remarks about those that were not."""

    choices: Mapping[Role, RoleChoice]
    notes: tuple[str, ...] = field(default=())


def choose_roles(table: Table, columns: LogColumns | None, wanted: tuple[Role, ...] = REQUIRED) -> Roles:
    """Find the column of every role; ``wanted`` are the ones that must be found.

    Raises
    ------
    InputError
        When a wanted role is missing or two columns could be it; the message holds a ``[log]`` table to
        finish and hand over with ``--columns``.
    """
    found = _mapped(table, columns) if columns is not None else {}
    doubts: dict[Role, list[int]] = {}
    # a map says which columns are meant, so that beside it only what must be found is looked for
    every = [*(role for role in Role if role not in SECOND.values()), *SECOND.values()]
    for role in wanted if found else every:
        if role not in found:
            doubts[role] = _recognise(table, role, found)
    for role in wanted:
        if role not in found:
            raise _ask(table, role, doubts[role], found)
    notes = [
        f"{role}: {_quoted(table, doubts[role])} could each be it; none is taken (name one in [log])"
        for role in doubts
        if role not in found and doubts[role]
    ]
    unfit = {role: _unfit(table, role, found) for role in doubts if role not in found and not doubts[role]}
    notes += [f"{role}: {why}, and is not taken" for role, why in unfit.items() if why]
    return Roles(found, (*notes, *_unknown_units(table, found)))


def _unfit(table: Table, role: Role, found: Mapping[Role, RoleChoice]) -> str:
    """The column whose header says this role while its cells cannot be it, and why; "" if there is none."""
    taken = {choice.index for choice in found.values()}
    named = [
        index for index, head in enumerate(table.headers) if index not in taken and _score(head, role) > 1
    ]
    why = [(index, reason) for index in named if (reason := unfit(table, role, index))]
    return f'"{table.headers[why[0][0]].text}" by its header, but {why[0][1]}' if why else ""


def _unknown_units(table: Table, found: Mapping[Role, RoleChoice]) -> list[str]:
    return [
        f'{role}: "{unknown}" in its header is no unit that is known here; say which in [log]'
        for role, choice in found.items()
        if choice.spec.unit is None and (unknown := table.headers[choice.index].unknown_unit)
    ]


def _mapped(table: Table, columns: LogColumns) -> dict[Role, RoleChoice]:
    choices = {}
    for role, spec in columns.specs.items():
        index = table.find(spec.column, f"log.{role}.column")
        choices[role] = RoleChoice(role, index, _with_unit(table, role, index, spec), Origin.MAPPING)
    return choices


def _with_unit(table: Table, role: Role, index: int, spec: ColumnSpec) -> ColumnSpec:
    """The spec with the header's unit where it names none itself and the header's fits."""
    unit = table.headers[index].unit
    if spec.unit is not None or unit is None or unit.quantity not in QUANTITIES[role]:
        return spec
    return ColumnSpec(spec.column, unit, spec.active, spec.invert)


def _recognise(table: Table, role: Role, found: dict[Role, RoleChoice]) -> list[int]:
    """Put the column of a role (or a pair) into ``found``; return the candidates if none stands out."""
    taken = {choice.index for choice in found.values()}
    scored = [
        (score, index)
        for index, head in enumerate(table.headers)
        if index not in taken and (score := _score(head, role)) > 0 and fits(table, role, index)
    ]
    if not scored and role is Role.SENSOR:
        telling = [
            index for index in range(len(table.headers)) if index not in taken and tells_sensor(table, index)
        ]
        return _settle(table, role, telling, Origin.VALUES, found)
    best = max((score for score, _ in scored), default=0)
    return _settle(table, role, [index for score, index in scored if score == best], Origin.HEADER, found)


def _settle(
    table: Table, role: Role, candidates: list[int], origin: Origin, found: dict[Role, RoleChoice]
) -> list[int]:
    roles: tuple[Role, ...] = (role,)
    if len(candidates) == 2 and role in SECOND and _ordered(table, candidates):
        candidates, roles = _ordered(table, candidates), (role, SECOND[role])
    elif role is Role.SENSOR and len(candidates) >= 2 and _all_readings(table, candidates):
        # the trace of a simulated run lists its sensors in the lift file's order
        candidates, roles = candidates[:2], (role, SECOND[role])
    if len(candidates) != len(roles):
        return candidates
    for each, index in zip(roles, candidates, strict=True):
        choice = _choice(table, each, index, origin)
        if choice is None:
            return candidates
        found[each] = choice
    return []


def _choice(table: Table, role: Role, index: int, origin: Origin) -> RoleChoice | None:
    head = table.headers[index]
    unit, remark = _unit(head, role), ""
    if role is Role.COMMAND and unit is None:
        unit, remark = guess_command_unit(table, index), "unit taken from its values"
        if unit is None:
            return None
    if role in ON_OFF and not tells_sensor(table, index) and head.parts[:1] != (READING,):
        remark = 'taken as made when on; if not, set active = "low"'
    return RoleChoice(role, index, ColumnSpec(head.text, unit, Level.HIGH), origin, remark)


def _unit(head: Header, role: Role) -> Unit | None:
    return head.unit if head.unit is not None and head.unit.quantity in QUANTITIES[role] else None


def _score(head: Header, role: Role) -> int:
    words = set(head.parts)
    accepted = QUANTITIES[role]
    # "ticks" and "count" are units and words of their own, and a role without units takes no offence
    if accepted and head.unit is not None and head.unit.quantity not in (*accepted, Quantity.COUNT):
        return 0
    if words & NEVER.get(role, frozenset()):
        return 0
    if role is Role.SENSOR and head.parts[:1] == (READING,):
        return 3
    if "_".join(head.base) in EXACT[role] or "_".join(head.parts) in EXACT[role]:
        return 3
    if words & STRONG.get(role, frozenset()):
        return 2
    timed = role is Role.TIME and head.unit is not None and head.unit.quantity is Quantity.TIME
    return 1 if timed or words & WEAK.get(role, frozenset()) else 0


def _ordered(table: Table, candidates: list[int]) -> list[int]:
    """The two candidates, left one first, if they differ in nothing but that; else empty."""
    one, two = (table.headers[index].parts for index in candidates)
    if len(one) != len(two):
        return []
    differing = [pair for pair in zip(one, two, strict=True) if pair[0] != pair[1]]
    if len(differing) != 1:
        return []
    if differing[0] in PAIRS:
        return candidates
    return candidates[::-1] if differing[0][::-1] in PAIRS else []


def _all_readings(table: Table, candidates: list[int]) -> bool:
    return all(table.headers[index].parts[0] == READING for index in candidates)


def _ask(table: Table, role: Role, doubts: list[int], found: Mapping[Role, RoleChoice]) -> InputError:
    names = listed([head.text for head in table.headers])
    what = (
        f"{_quoted(table, doubts)} could each be the {role}"
        if doubts
        else f"no column is known as the {role}{_hint(table, role, found)}"
    )
    example = snippet(table, found, doubts)
    return InputError(
        f"{what} (columns: {names}); say which in a file for --columns, like this:\n{example}",
        file=table.source,
    )


def _hint(table: Table, role: Role, found: Mapping[Role, RoleChoice]) -> str:
    why = _unfit(table, role, found)
    return f": it would be {why}" if why else ""


def snippet(table: Table, found: Mapping[Role, RoleChoice], doubts: list[int]) -> str:
    """A ``[log]`` table with what was recognised, and a place for what was not."""
    lines = ["[log]"]
    open_name = table.headers[doubts[0]].text if doubts else "..."
    for role in Role:
        if role in found:
            spec = found[role].spec
            unit = f", unit = {_toml(spec.unit.word)}" if spec.unit is not None else ""
            lines.append(f"{role} = {{ column = {_toml(spec.column)}{unit} }}")
        elif role in REQUIRED:
            unit = ', unit = "ms"' if role is Role.TIME else ""
            column = open_name if role is next(each for each in REQUIRED if each not in found) else "..."
            lines.append(f"{role} = {{ column = {_toml(column)}{unit} }}   # to fill in")
    return "\n".join(lines)


def _toml(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _quoted(table: Table, indices: list[int]) -> str:
    return listed([f'"{table.headers[index].text}"' for index in indices])
