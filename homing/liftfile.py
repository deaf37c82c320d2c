"""A lift file: read, checked once, and from then on frozen.

The flow of ``load_lift``:

1. TOML to tables (``_read``); unknown sections and keys are refused with the nearest known one;
2. what was left out is filled in (``homing.defaults``) and listed as assumed;
3. every table becomes a validated model (``homing.liftmodels``, ``homing.sensortables``);
4. what only several keys together can tell is checked (``homing.liftchecks``);
5. tolerances are worked out and checked (``homing.tolerances``).

Every refusal is one ``InputError`` that names file and key, what is accepted and what was found.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from homing.liftmodels import (
    BatteryTable,
    ControllerTable,
    DriveTable,
    LiftTable,
    LogTable,
    RequirementsTable,
    RoutineTable,
    StopTable,
    StringTable,
)
from homing.sensortables import AnySensor
from homing.values import Range, Spread, typical
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.assumed import Assumed
    from homing.own.routine import OwnRoutine
    from homing.ownrequirements.tables import OwnRequirement
    from homing.tolerances import Tolerance

#: Name under which messages speak of the example that is shipped.
BUILT_IN = "built-in example"


@dataclass(frozen=True)
class Lift:
    """A lift file, complete and checked. Numbers are in the units of the file's keys.

    ``string`` is None for belt and lead screw. ``own_routine`` is the team's own table, if the file brings
    one; of ``routine`` only what speaks of the lift then has a meaning. ``given`` holds the tables as the
    file gave them.
    """

    source: str
    lift: LiftTable
    drive: DriveTable
    string: StringTable | None
    stop: StopTable
    battery: BatteryTable
    controller: ControllerTable
    sensors: tuple[AnySensor, ...]
    candidates: tuple[AnySensor, ...]
    routine: RoutineTable
    requirements: RequirementsTable
    fault_rates: Mapping[str, float]
    log: LogTable | None
    tolerances: tuple[Tolerance, ...]
    assumed: tuple[Assumed, ...]
    notes: tuple[str, ...]
    given: Mapping[str, Any] = field(repr=False)
    own_routine: OwnRoutine | None = None
    own_requirements: tuple[OwnRequirement, ...] = ()

    @property
    def name(self) -> str:
        """Name of the lift."""
        return self.lift.name

    def sensor(self, name: str | None = None) -> AnySensor:
        """Return a sensor by name; the routine's own when no name is given."""
        wanted = self.routine.sensor if name is None else name
        for sensor in (*self.sensors, *self.candidates):
            if sensor.name == wanted:
                return sensor
        known = ", ".join(f'"{sensor.name}"' for sensor in (*self.sensors, *self.candidates))
        raise InputError(f"must name one of the sensors {known}", file=self.source, key="sensor", got=wanted)

    def quantities(self) -> dict[str, float]:
        """Return every numeric key, ``section.key`` or ``sensor.NAME.key``, in the units of the file.

        A spread counts with its typical value, a candidate's span with its middle.
        """
        return dict(self._numbers())

    def replace(self, changes: Mapping[str, Any]) -> Lift:
        """Return a new, checked lift with some keys changed; what was worked out from them follows.

        Parameters
        ----------
        changes : mapping
            ``section.key``, ``sensor.NAME.key`` or ``sensor.NAME.magnet.key`` to the new value.

        Raises
        ------
        InputError
            When a key is unknown or the changed lift is refused.
        """
        from homing.assembly import assemble, changed

        return assemble(changed(self, changes), self.source)

    def _numbers(self) -> Iterator[tuple[str, float]]:
        for section in (
            "lift",
            "drive",
            "string",
            "stop",
            "battery",
            "controller",
            "routine",
            "requirements",
        ):
            table = getattr(self, section)
            if section == "routine" and self.own_routine is not None:
                yield from self._own_numbers()
            elif table is not None:
                yield from _numbers_of(section, table)
        for group, tables in (("sensor", self.sensors), ("candidate", self.candidates)):
            for table in tables:
                yield from _numbers_of(f"{group}.{table.name}", table)

    def _own_numbers(self) -> Iterator[tuple[str, float]]:
        """Numbers of ``[routine]`` that have a meaning beside an own table, and those of the table."""
        from homing.own.numbers import numbers
        from homing.own.reading import SHARED_KEYS

        assert self.own_routine is not None
        shared = [f"routine.{key}" for key in SHARED_KEYS]
        yield from (each for each in _numbers_of("routine", self.routine) if each[0] in shared)
        yield from numbers(self.own_routine)


def load_lift(path: str | Path | None = None) -> Lift:
    """Read and check a lift file.

    Parameters
    ----------
    path : str, Path or None
        The file; None for the example that is shipped.

    Returns
    -------
    Lift
        Complete, checked and frozen.

    Raises
    ------
    InputError
        One sentence that names file and key, what is accepted and what was found.
    """
    from homing.assembly import assemble

    if path is None:
        text, source = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8"), BUILT_IN
    else:
        text, source = _read(Path(path)), str(path)
    return assemble(parse(text, source), source)


def parse(text: str, source: str) -> dict[str, Any]:
    """Return the tables of TOML text; a syntax error names its line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        lines = text.count("\n") + 1
        why = str(error).replace("(at end of document)", f"(at line {lines}, the end of the file)")
        raise InputError(f"is not valid TOML: {why}", file=source) from error


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise InputError("no such file; give the path of a lift file (TOML)", file=str(path)) from error
    except IsADirectoryError as error:
        raise InputError("is a folder; give the path of a lift file (TOML)", file=str(path)) from error
    except UnicodeDecodeError as error:
        raise InputError(f"must be UTF-8 text; byte {error.start} is not", file=str(path)) from error
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=str(path)) from error


def _numbers_of(prefix: str, table: BaseModel) -> Iterator[tuple[str, float]]:
    for key in type(table).model_fields:
        value = getattr(table, key)
        if isinstance(value, BaseModel):
            yield from _numbers_of(f"{prefix}.{key}", value)
        elif isinstance(value, Spread | Range):
            yield f"{prefix}.{key}", typical(value)
        elif isinstance(value, int | float) and not isinstance(value, bool | IntEnum):
            yield f"{prefix}.{key}", float(value)
