"""From ``[[routine.phase]]`` and ``[[routine.row]]`` to an ``OwnRoutine``; every mistake is one sentence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from homing.kernel.codes import Order
from homing.own.routine import OwnAsk, OwnPhase, OwnRoutine, OwnRow
from homing.own.words import BY_EFFECT, BY_WORD, EffectWord
from homing.routine import MOST_CONDITIONS, Role
from homing.values import Bounds, nearest
from sensor_models.errors import InputError

#: Keys of ``[routine]`` that speak of the lift and not of the built-in sequence.
SHARED_KEYS = ("sensor", "referenced_at_start", "reference_mm", "stop", "settle_ms", "no_motion_ms")
PHASE_KEYS = ("name", "command", "role", "why")
ROW_KEYS = ("from", "when", "unless", "to", "do", "why")
ROLES = {role.value: role for role in Role}
STOPS = {"hold": Order.HOLD, "shorted": Order.SHORTED, "open": Order.OPEN}
_COMMAND = 'be "stop", {speed_mm_s = NUMBER}, {duty = -1 to 1} or {stop = "hold", "shorted" or "open"}'
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")


def has_own_table(routine: Any) -> bool:
    """True when ``[routine]`` holds phases or rows."""
    return isinstance(routine, Mapping) and bool({"phase", "row"} & set(routine))


def read_own(routine: Mapping[str, Any], default_stop: str, file: str) -> OwnRoutine:
    """Read a team's own table.

    Parameters
    ----------
    routine : mapping
        ``[routine]`` as the file gives it.
    default_stop : str
        The stop that ``command = "stop"`` stands for.
    file : str
        For messages.

    Raises
    ------
    InputError
        For the first thing that is wrong, with phase or row named.
    """
    for key in routine:
        if key not in (*SHARED_KEYS, "phase", "row"):
            raise InputError(
                "must be left out: it is a setting of the built-in sequence, and this file brings its own "
                f"phases and rows; kept are {', '.join(SHARED_KEYS)}",
                file=file,
                key=f"routine.{key}",
            )
    phases = tuple(
        _phase(table, number, default_stop, file)
        for number, table in enumerate(_tables(routine, "phase", file), start=1)
    )
    _check_phases(phases, file)
    names = [phase.name for phase in phases]
    rows = tuple(
        _row(table, number, names, file)
        for number, table in enumerate(_tables(routine, "row", file), start=1)
    )
    asked = {(ask.word.kind, ask.value) for row in rows for ask in (*row.when, *row.unless)}
    if len(asked) > MOST_CONDITIONS:
        must = f"must ask at most {MOST_CONDITIONS} different conditions in all"
        raise InputError(must, file=file, key="[[routine.row]]", got=len(asked))
    return OwnRoutine(phases, rows)


def _tables(routine: Mapping[str, Any], key: str, file: str) -> Sequence[Mapping[str, Any]]:
    tables = routine.get(key, [])
    if not isinstance(tables, list) or not tables or not all(isinstance(each, dict) for each in tables):
        raise InputError(
            f"must be given at least once, each written [[routine.{key}]]: an own table has phases and rows",
            file=file,
            key=f"[[routine.{key}]]",
        )
    return tables


def _check_keys(
    table: Mapping[str, Any], known: Sequence[str], needed: Sequence[str], at: str, file: str
) -> None:
    for key in table:
        if key not in known:
            must = f"is not a known key{nearest(key, known) or '; accepted are ' + ', '.join(known)}"
            raise InputError(must, file=file, key=f"{at}, {key}")
    for key in needed:
        if key not in table:
            raise InputError("must be given", file=file, key=f"{at}, {key}")
    why = table.get("why", "")
    if not isinstance(why, str):
        raise InputError("must be a text", file=file, key=f"{at}, why", got=why)


def _phase(table: Mapping[str, Any], number: int, default_stop: str, file: str) -> OwnPhase:
    at = f"routine.phase {number}"
    _check_keys(table, PHASE_KEYS, ("name", "command"), at, file)
    name = table["name"]
    if not isinstance(name, str) or not _NAME.fullmatch(name):
        must = "must be a word of letters, digits and _ that begins with a letter"
        raise InputError(must, file=file, key=f"{at}, name", got=name)
    at = f"{at} ({name})"
    order, value = _command(table["command"], default_stop, at, file)
    word = table.get("role", "moving" if value else "stopped")
    if word not in ROLES:
        must = f"must be {' or '.join(ROLES)}{nearest(word, ROLES)}"
        raise InputError(must, file=file, key=f"{at}, role", got=word)
    return OwnPhase(name, ROLES[word], order, value, table.get("why", ""))


def _command(command: Any, default_stop: str, at: str, file: str) -> tuple[Order, float]:
    bounds = {"speed_mm_s": Bounds(), "duty": Bounds(least=-1, most=1)}
    if command == "stop":
        return STOPS[default_stop], 0.0
    value: Any
    key, value = (
        next(iter(command.items())) if isinstance(command, dict) and len(command) == 1 else ("", None)
    )
    if key == "stop" and isinstance(value, str) and value in STOPS:
        return STOPS[value], 0.0
    if key in bounds and bounds[key].accept(value):
        return (Order.SPEED if key == "speed_mm_s" else Order.DUTY), float(value)
    raise InputError(f"must {_COMMAND}", file=file, key=f"{at}, command", got=command)


def _check_phases(phases: Sequence[OwnPhase], file: str) -> None:
    names = [phase.name for phase in phases]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                "must be different for every phase", file=file, key="routine.phase, name", got=name
            )
    starts = [phase.name for phase in phases if phase.role is Role.START]
    if starts != names[:1]:
        must = 'must be "start" for the first phase, where a run begins, and for no other'
        raise InputError(must, file=file, key="routine.phase, role", got=", ".join(starts) or "none")


def _row(table: Mapping[str, Any], number: int, phases: Sequence[str], file: str) -> OwnRow:
    at = f"routine.row {number}"
    _check_keys(table, ROW_KEYS, ("from", "to"), at, file)
    for key in ("from", "to"):
        if table[key] not in phases:
            must = f"must name a phase{nearest(table[key], phases) or ': ' + ', '.join(phases)}"
            raise InputError(must, file=file, key=f"{at}, {key}", got=table[key])
    at = f"{at} ({table['from']} -> {table['to']})"
    when, unless = (_asks(table.get(key, []), f"{at}, {key}", file) for key in ("when", "unless"))
    both = [ask for ask in when if ask in unless]
    if both:
        raise InputError("must not also stand in when", file=file, key=f"{at}, unless", got=both[0].name)
    effects = _effects(table.get("do", []), f"{at}, do", file)
    return OwnRow(number, table["from"], when, unless, table["to"], effects, table.get("why", ""))


def _asks(given: Any, at: str, file: str) -> tuple[OwnAsk, ...]:
    if not isinstance(given, list):
        raise InputError("must be a list of conditions", file=file, key=at, got=given)
    asks = tuple(_ask(each, at, file) for each in given)
    words = [ask.word.word for ask in asks]
    for word in words:
        if words.count(word) > 1:
            raise InputError("must name a condition once", file=file, key=at, got=word)
    return asks


def _ask(given: Any, at: str, file: str) -> OwnAsk:
    plain = isinstance(given, str)
    if not plain and not (isinstance(given, dict) and len(given) == 1):
        must = 'must hold words such as "made" or tables of one number such as {moved_mm = 720}'
        raise InputError(must, file=file, key=at, got=given)
    value: Any
    word, value = (given, None) if plain else next(iter(given.items()))
    if word not in BY_WORD:
        must = f"must hold known conditions{nearest(word, BY_WORD) or ': ' + ', '.join(BY_WORD)}"
        raise InputError(must, file=file, key=at, got=word)
    known = BY_WORD[word]
    if known.bounds is None:
        if not plain:
            raise InputError(f'must write "{word}" without a number', file=file, key=at, got=given)
        return OwnAsk(known, None)
    if plain or not known.bounds.accept(value):
        must = f"must write {{{word} = ...}} with {known.bounds.words}"
        raise InputError(must, file=file, key=at, got=given)
    return OwnAsk(known, float(value))


def _effects(given: Any, at: str, file: str) -> tuple[EffectWord, ...]:
    if not isinstance(given, list):
        raise InputError("must be a list of effects", file=file, key=at, got=given)
    for word in given:
        if word not in BY_EFFECT:
            must = f"must hold known effects{nearest(word, BY_EFFECT) or ': ' + ', '.join(BY_EFFECT)}"
            raise InputError(must, file=file, key=at, got=word)
        if given.count(word) > 1:
            raise InputError("must name an effect once", file=file, key=at, got=word)
    return tuple(BY_EFFECT[word] for word in given)
