"""From the tables of a file to a ``Lift``: the steps 2 to 5 of ``homing.liftfile``."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypeVar

from pydantic import ValidationError

from homing.defaults import fill
from homing.liftchecks import check
from homing.liftfile import Lift
from homing.liftkeys import OWN_TABLE, SECTIONS, check_keys, unknown_key
from homing.liftmodels import LogRole, LogTable, Table
from homing.liftnotes import notes
from homing.own.numbers import place_of
from homing.own.reading import SHARED_KEYS, has_own_table, read_own
from homing.ownrequirements.tables import read_requirements
from homing.requirements import FIXED_NAMES
from homing.sensortables import MODELS, AnySensor
from homing.tolerances import work_out
from homing.values import is_number
from sensor_models.errors import InputError

Model = TypeVar("Model", bound=Table)

_PLACES = ("counts", "mm", "cm", "m", "in")
#: Units that a log's column may have, by role; a test holds them against those of the reader.
LOG_UNITS: dict[str, tuple[str, ...]] = {
    "time": ("s", "ms", "us", "ns"),
    "counts": _PLACES,
    "command": ("fraction", "percent", "V", "mV"),
    "sensor": (),
    "sensor_2": (),
    "battery_v": ("V", "mV"),
    "current_a": ("A", "mA"),
    "state": (),
    "target": _PLACES,
    "counts_2": _PLACES,
    "current_2": ("A", "mA"),
}
#: Keys of ``[log]`` that are numbers, and those that name the columns of the long layout.
LOG_NUMBERS = ("mm_per_count", "hold_s")
LOG_LAYOUT = ("name", "value")


def assemble(given: Mapping[str, Any], source: str, *, with_tolerances: bool = True) -> Lift:
    """Check and complete the tables of a lift file.

    Parameters
    ----------
    given : mapping
        The file as read.
    source : str
        Name of the file, for messages.
    with_tolerances : bool
        False while the bounds of a tolerance are being tried.

    Raises
    ------
    InputError
        For the first thing that cannot be used.
    """
    check_keys(given, source)
    tables, assumed = fill(_without_own_table(given), source)
    sections = {
        name: build(model, tables[name], name, source) for name, model in SECTIONS.items() if name in tables
    }
    lift = Lift(
        source=source,
        **{"string": None, **sections},  # type: ignore[arg-type]
        sensors=_sensors("sensor", tables.get("sensor", []), source),
        candidates=_sensors("candidate", tables.get("candidate", []), source),
        fault_rates=_fault_rates(tables.get("fault_rates", {}), source),
        log=_log(tables["log"], source) if "log" in tables else None,
        tolerances=(),
        assumed=assumed,
        notes=(),
        given=given,
        own_requirements=read_requirements(given.get("requirement", []), FIXED_NAMES, source),
    )
    if has_own_table(given.get("routine")):
        lift = _with_own_routine(lift)
    check(lift)
    lift = replace(lift, notes=notes(lift))
    return replace(lift, tolerances=work_out(lift, _try_changes)) if with_tolerances else lift


def _without_own_table(given: Mapping[str, Any]) -> Mapping[str, Any]:
    """The tables without phases and rows, which are read apart."""
    if not has_own_table(given.get("routine")):
        return given
    routine = {key: value for key, value in given["routine"].items() if key not in OWN_TABLE}
    return {**given, "routine": routine}


def _with_own_routine(lift: Lift) -> Lift:
    """The lift with its own routine; what others ask of the built-in one's speeds is told from its phases."""
    own = read_own(lift.given["routine"], lift.routine.stop.word, lift.source)
    free_mm_s = lift.drive.free_speed_mm_s
    fast, slow = own.fastest_mm_s(free_mm_s), own.slowest_mm_s(free_mm_s)
    speeds = {"fast_speed_mm_s": fast, "creep_speed_mm_s": slow} if fast > 0.0 else {}
    meant = [f"routine.{key}" for key in SHARED_KEYS]
    assumed = tuple(each for each in lift.assumed if not each.key.startswith("routine.") or each.key in meant)
    return replace(lift, own_routine=own, routine=lift.routine.model_copy(update=speeds), assumed=assumed)


def changed(lift: Lift, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the given tables of a lift with some keys changed."""
    tables = copy.deepcopy(dict(lift.given))
    for path, value in changes.items():
        table, key = _table_of(tables, lift, path)
        table[key] = list(value) if isinstance(value, tuple) else value
    return tables


def build(model: type[Model], table: Mapping[str, Any], prefix: str, file: str, **context: Any) -> Model:
    """Return the validated model of one table; its first error becomes one sentence."""
    try:
        return model.model_validate(table, context=context)
    except ValidationError as error:
        found = error.errors(include_url=False)
        first = min(found, key=lambda each: each["type"] == "missing")
    key = ".".join([prefix, *map(str, first["loc"])])
    if first["type"] == "missing":
        raise InputError("must be given", file=file, key=key)
    if first["type"] == "extra_forbidden":
        raise unknown_key(str(first["loc"][-1]), prefix, model.model_fields, file)
    must = first["msg"] if first["type"] == "must" else f"must be a table of keys ({first['msg']})"
    raise InputError(must, file=file, key=key, got=first["input"])


def _try_changes(lift: Lift, changes: Mapping[str, Any]) -> Lift:
    return assemble(changed(lift, changes), lift.source, with_tolerances=False)


def _table_of(tables: dict[str, Any], lift: Lift, path: str) -> tuple[dict[str, Any], str]:
    section, _, rest = path.partition(".")
    if section in SECTIONS and rest in SECTIONS[section].model_fields:
        return tables.setdefault(section, {}), rest
    own = place_of(tables.get("routine", {}), path)
    if own is not None:
        return own
    named, _, key = rest.rpartition(".")
    for group, sensors in (("sensor", lift.sensors), ("candidate", lift.candidates)):
        for row, sensor in enumerate(sensors if section == group else ()):
            table = tables[group][row]
            if named == sensor.name and key in type(sensor).model_fields:
                return table, key
            if named == f"{sensor.name}.magnet" and "magnet" in type(sensor).model_fields:
                magnet = sensor.magnet  # type: ignore[union-attr]
                if key == "remanence_t" and isinstance(table.get("magnet"), dict):
                    table["magnet"].pop("grade", None)
                default = magnet.model_dump(exclude_none=True, exclude={"shape", "remanence_t"})
                return table.setdefault("magnet", {"shape": magnet.shape.word, **default}), key
    raise unknown_path(path, lift)


def unknown_path(path: str, lift: Lift) -> InputError:
    """Error for a dotted key that this lift does not have."""
    from homing.values import nearest

    return InputError(
        f"is not a numeric key of this lift{nearest(path, lift.quantities())}", file=lift.source, key=path
    )


def _sensors(group: str, tables: list[dict[str, Any]], file: str) -> tuple[AnySensor, ...]:
    made: list[AnySensor] = []
    for table in tables:
        model = MODELS[table["kind"]]
        keys = {key: value for key, value in table.items() if key != "kind"}
        made.append(build(model, keys, f"{group}.{table['name']}", file, candidate=group == "candidate"))
    return tuple(made)


def _fault_rates(table: Mapping[str, Any], file: str) -> dict[str, float]:
    for fault, rate in table.items():
        if not is_number(rate) or rate < 0:
            raise InputError(
                "must be a number of at least 0", file=file, key=f"fault_rates.{fault}", got=rate
            )
    return {fault: float(rate) for fault, rate in table.items()}


def _log(table: Mapping[str, Any], file: str) -> LogTable:
    roles: dict[str, LogRole] = {}
    for name, entry in table.items():
        if name in LOG_NUMBERS:
            continue
        if name not in LOG_UNITS and name not in LOG_LAYOUT:
            raise unknown_key(name, "log", (*LOG_UNITS, *LOG_NUMBERS, *LOG_LAYOUT), file)
        if not isinstance(entry, dict):
            raise InputError(
                'must be a table such as { column = "NAME" }', file=file, key=f"log.{name}", got=entry
            )
        roles[name] = build(LogRole, entry, f"log.{name}", file)
        if name not in LOG_LAYOUT:
            _check_unit(name, roles[name], file)
    layout = {name: roles.pop(name) for name in LOG_LAYOUT if name in roles}
    if len(layout) == 1:
        other = next(name for name in LOG_LAYOUT if name not in layout)
        raise InputError(
            'must be given too, since "name" and "value" describe the long layout together',
            file=file,
            key=f"log.{other}",
        )
    numbers = {name: table[name] for name in LOG_NUMBERS if name in table}
    if not numbers:
        return LogTable.model_validate({"roles": roles, **layout})
    return build(LogTable, {"roles": roles, **layout, **numbers}, "log", file)


def _check_unit(name: str, column: LogRole, file: str) -> None:
    accepted = LOG_UNITS[name]
    if column.unit is not None and column.unit not in accepted:
        words = ", ".join(f'"{unit}"' for unit in accepted) or "left out"
        raise InputError(f"must be one of {words}", file=file, key=f"log.{name}.unit", got=column.unit)
