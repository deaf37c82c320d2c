"""Which sections and keys a lift file may have, and which it must have; judged before anything else.

Unknown ones come first, since a misspelt key would otherwise be reported as a missing one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from homing.liftmodels import (
    BatteryTable,
    ControllerTable,
    DriveTable,
    LiftTable,
    RequirementsTable,
    RoutineTable,
    StopTable,
    StringTable,
    Table,
)
from homing.partslists import read_list
from homing.sensortables import MODELS, MagnetTarget
from homing.values import nearest
from homing.words import DriveKind
from sensor_models.errors import InputError

#: Plain sections and their models.
SECTIONS: dict[str, type[Table]] = {
    "lift": LiftTable,
    "drive": DriveTable,
    "string": StringTable,
    "stop": StopTable,
    "battery": BatteryTable,
    "controller": ControllerTable,
    "routine": RoutineTable,
    "requirements": RequirementsTable,
}
#: Lists of tables inside ``[routine]``: a team's own phases and rows.
OWN_TABLE = ("phase", "row")
#: Sections that are judged elsewhere: lists of tables, and tables with free keys.
OTHER_SECTIONS = ("sensor", "candidate", "tolerances", "fault_rates", "log", "requirement")

#: Keys that only some drives have.
DRIVE_KEYS: dict[str, tuple[str, ...]] = {
    "spool_diameter_mm": ("string",),
    "pulley_diameter_mm": ("belt",),
    "lead_mm": ("lead_screw",),
    "backlash_mm": ("belt", "lead_screw"),
    "stiffness_n_per_mm": ("belt", "lead_screw"),
}
#: Keys without which no lift can be calculated, and what they are.
REQUIRED: dict[str, str] = {
    "lift.travel_mm": "hard stop to upper stop",
    "lift.incline_deg": "90 vertical, 0 horizontal",
    "lift.moving_mass_kg": "inertia at the carriage, without rotor",
    "drive.motors": "number of motors, mechanically coupled",
    "drive.motor_free_speed_rpm": "free speed at nominal voltage, motor shaft",
    "drive.motor_stall_torque_nm": "stall torque at nominal voltage, motor shaft",
    "drive.motor_stall_current_a": "stall current at nominal voltage",
    "drive.gear_ratio": "motor turns for one turn of the spool",
    "drive.spool_diameter_mm": "diameter at the string",
    "drive.pulley_diameter_mm": "pitch diameter of the belt's pulley",
    "drive.lead_mm": "travel for one turn of the screw",
    "drive.encoder_counts_per_rev": "counts for one turn of the encoder's shaft",
    "controller.period_ms": "period of the control loop",
}


def check_keys(given: Mapping[str, Any], file: str) -> None:
    """Refuse unknown sections and keys, sections of the wrong shape, and missing required keys.

    Raises
    ------
    InputError
        For the first of them.
    """
    sections = (*SECTIONS, *OTHER_SECTIONS)
    for section, table in given.items():
        if section not in sections:
            raise InputError(
                f"is not a section of a lift file{nearest(section, sections)}; "
                f"accepted are {', '.join(sections)}",
                file=file,
                key=f"[{section}]",
            )
        if section in ("sensor", "candidate"):
            _check_sensors(section, table, file)
        elif section == "requirement":
            continue  # judged by homing.ownrequirements
        elif not isinstance(table, dict):
            raise InputError(f"must be a table, written [{section}]", file=file, key=section, got=table)
        elif section in SECTIONS:
            _check_section(section, table, file)
    _check_drive_keys(given, file)
    if not given.get("sensor"):
        raise InputError(
            "must be given, with at least mount_mm and a part or kind", file=file, key="[[sensor]]"
        )
    _check_required(given, file)


def unknown_key(key: str, prefix: str, known: Iterable[str], file: str) -> InputError:
    """Error for a key that its table does not have: the nearest known one, or where it belongs."""
    known = list(known)
    hint = nearest(key, known)
    home = next((name for name, model in SECTIONS.items() if key in model.model_fields), None)
    if not hint and home is not None:
        hint = f" (it belongs in [{home}])"
    return InputError(
        f"is not a known key{hint or '; accepted are ' + ', '.join(known)}", file=file, key=f"{prefix}.{key}"
    )


def _check_section(section: str, table: Mapping[str, Any], file: str) -> None:
    for key in table:
        if section == "routine" and key in OWN_TABLE:
            continue  # judged by homing.own
        if key not in SECTIONS[section].model_fields:
            raise unknown_key(key, section, SECTIONS[section].model_fields, file)


def _check_sensors(group: str, tables: Any, file: str) -> None:
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise InputError(f"must be a list of tables, each written [[{group}]]", file=file, key=group)
    for row, table in enumerate(tables, start=1):
        prefix = f"{group}.{table['name']}" if isinstance(table.get("name"), str) else f"{group}[{row}]"
        kind = table.get("kind")
        models = [MODELS[kind]] if isinstance(kind, str) and kind in MODELS else list(MODELS.values())
        known = list(dict.fromkeys(("kind", *(key for model in models for key in model.model_fields))))
        for key in table:
            if key not in known:
                raise unknown_key(key, prefix, known, file)
        if "mount_mm" not in table and kind != "stall":
            raise InputError(
                "must be given (where along the travel the sensor sits, from the hard stop)",
                file=file,
                key=f"{prefix}.mount_mm",
            )
        magnet = table.get("magnet")
        for key in magnet if isinstance(magnet, dict) else ():
            if key not in MagnetTarget.model_fields:
                raise unknown_key(key, f"{prefix}.magnet", MagnetTarget.model_fields, file)


def _check_drive_keys(given: Mapping[str, Any], file: str) -> None:
    drive = given.get("drive", {})
    kind = drive.get("kind", "string")
    if kind not in (each.word for each in DriveKind):
        return
    for key, kinds in DRIVE_KEYS.items():
        if key in drive and kind not in kinds:
            words = " or ".join(f'"{each}"' for each in kinds)
            raise InputError(
                f'belongs to drives of kind {words}; this one is "{kind}"', file=file, key=f"drive.{key}"
            )
    if kind != "string" and given.get("string"):
        raise InputError(
            f'must be left out: a drive of kind "{kind}" has no string', file=file, key="[string]"
        )


def _check_required(given: Mapping[str, Any], file: str) -> None:
    kind = given.get("drive", {}).get("kind", "string")
    for path, what in REQUIRED.items():
        section, key = path.split(".")
        if key in given.get(section, {}) or kind not in DRIVE_KEYS.get(key, (kind,)):
            continue
        if key.startswith("motor_") and "motor" in given["drive"]:
            continue
        hint = f", or drive.motor one of {', '.join(read_list('motors'))}" if key.startswith("motor_") else ""
        raise InputError(f"must be given ({what}){hint}", file=file, key=path)
