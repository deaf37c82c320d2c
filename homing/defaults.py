"""What a lift file leaves out: from its parts, from stated defaults, or worked out from its own keys.

The flow of one call of ``fill``:

1. names and kinds (``lift.slides``, ``drive.kind``, sensor names and kinds);
2. values of the parts that the file names (motor, slides, string, sensor part);
3. values worked out from other keys of the file (below, one function a section);
4. stated defaults (``data/defaults.toml``).

Whatever is put in is listed as ``Assumed`` with its origin. A key that the file gives, rightly or
wrongly, is never touched; judging it is the models' job.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from typing import Any

from homing.assumed import Assumed
from homing.partslists import Datum, look_up, read_list
from homing.sensordefaults import fill_sensor
from homing.values import is_number

#: Standard acceleration of free fall [m/s2] (ISO 80000-3).
FREE_FALL = 9.80665
#: Sections that a file may leave out wholly.
SECTIONS = ("lift", "drive", "string", "stop", "battery", "controller", "routine", "requirements")
#: The order in which assumed values are listed: that of a lift file.
_ORDER = (*SECTIONS[:6], "sensor", "candidate", *SECTIONS[6:])


class Section:
    """One table being filled; keeps the list of what was assumed."""

    def __init__(self, name: str, table: dict[str, Any], assumed: list[Assumed]) -> None:
        self.name, self.table, self.assumed = name, table, assumed

    def give(self, key: str, value: Any, origin: str) -> None:
        """Put a value in unless the file has one."""
        if key not in self.table:
            self.table[key] = value
            shown = "nominal trip height" if value is None else value
            self.assumed.append(Assumed(f"{self.name}.{key}", shown, origin))

    def give_all(self, data: Mapping[str, Any], source: str = "") -> None:
        """Put in every Datum of a part or of a section of the stated defaults."""
        for key, datum in data.items():
            if isinstance(datum, Datum):
                self.give(key, datum.value, f"{source}: {datum.origin}" if source else datum.origin)

    def inside(self, key: str) -> Section:
        """The table that stands at a key of this one."""
        return Section(f"{self.name}.{key}", self.table[key], self.assumed)

    def number(self, key: str, otherwise: float = 1.0) -> float:
        """Number to calculate a default with; ``otherwise`` when the file's own value is unusable.

        A file with an unusable value is refused later, so ``otherwise`` never reaches a result.
        """
        value = self.table.get(key)
        return float(value) if is_number(value) and value > 0 else otherwise  # type: ignore[operator,arg-type]


def fill(given: Mapping[str, Any], file: str | None) -> tuple[dict[str, Any], tuple[Assumed, ...]]:
    """Return the tables of a lift file with every key present, and what was assumed.

    Parameters
    ----------
    given : mapping
        The file as read; known keys only, sections are tables.
    file : str or None
        Name of the file, for messages.

    Raises
    ------
    InputError
        When a part is named that does not exist.
    """
    tables = copy.deepcopy(dict(given))
    assumed: list[Assumed] = []
    section = {name: Section(name, tables.setdefault(name, {}), assumed) for name in SECTIONS}
    stated = read_list("defaults")
    _fill_lift(section["lift"], stated["lift"], file)
    _fill_drive(section["drive"], stated["drive"], section["lift"], file)
    if section["drive"].table["kind"] == "string":
        _fill_string(section["string"], section, file)
    elif not section["string"].table:
        del tables["string"]
    _fill_supply(section)
    _fill_sensors(tables, assumed, file)
    _fill_routine(section, tables.get("sensor", []))
    for name in ("string", "stop", "battery", "controller", "routine", "requirements"):
        if name in tables:
            section[name].give_all(stated[name])
    return tables, tuple(sorted(assumed, key=lambda each: _ORDER.index(each.key.partition(".")[0])))


def _fill_lift(lift: Section, stated: Mapping[str, Any], file: str | None) -> None:
    lift.give("name", "lift", "stated default")
    lift.give_all(stated)
    family = look_up("slides", lift.table["slides"], key="lift.slides", file=file)
    values = {key: family[key] for key in ("friction_n", "viscous_n_s_per_m", "sway_mm")}
    lift.give_all(values, f'slides "{lift.table["slides"]}"')
    lift.give("static_friction_n", lift.table["friction_n"], "stated default: as the kinetic friction")
    lift.give("weight_n", lift.number("moving_mass_kg") * FREE_FALL, "moving mass x 9.80665 m/s2")
    lift.give("start_mm", lift.number("travel_mm") / 2, "stated default: half the travel")


def _fill_drive(drive: Section, stated: Mapping[str, Any], lift: Section, file: str | None) -> None:
    drive.give("kind", stated["kind"].value, stated["kind"].origin)
    if "motor" in drive.table:
        name = drive.table["motor"]
        drive.give_all(look_up("motors", name, key="drive.motor", file=file), f'motor "{name}"')
    drive.give_all(stated)
    kind = drive.table["kind"]
    if isinstance(kind, str) and isinstance(stated.get(kind), dict):
        drive.give_all(stated[kind])
    stall_a, torque = drive.number("motor_stall_current_a"), drive.number("motor_stall_torque_nm")
    speed = drive.number("motor_free_speed_rpm") * 2 * math.pi / 60
    drive.give(
        "motor_free_current_a",
        0.03 * stall_a,
        "own estimate: 3 % of the stall current, typical range 2 to 8 %",
    )
    drive.give(
        "rotor_inertia_kg_m2",
        0.025 * torque / speed,
        "own estimate: mechanical time constant 25 ms, typical range 10 to 40 ms for small iron-core motors",
    )
    drive.give(
        "current_limit_a", drive.number("motors") * stall_a, "no limit stated: stall current of all motors"
    )


def _fill_string(string: Section, section: Mapping[str, Section], file: str | None) -> None:
    stated = read_list("defaults")["string"]
    string.give_all({"type": stated["type"]})
    kind = look_up("strings", string.table["type"], key="string.type", file=file)
    line, ratio = kind["line_stiffness_n"], section["drive"].number("travel_per_line")
    length_mm = section["lift"].number("travel_mm") + 200
    string.give(
        "stiffness_n_per_mm",
        line.value / length_mm / ratio**2,
        f'string "{string.table["type"]}", travel + 200 mm of line, felt at the carriage: {line.origin}',
    )
    string.give("damping_n_s_per_m", kind["damping_n_s_per_m"].value, kind["damping_n_s_per_m"].origin)
    string.give_all({"return_string": stated["return_string"]})
    if string.table["return_string"] is False:
        # without a return string its numbers have no effect: nothing is assumed about them
        for key in [key for key in stated if key.startswith("return_")]:
            string.table.setdefault(key, stated[key].value)


def _fill_supply(section: Mapping[str, Section]) -> None:
    battery, controller = section["battery"], section["controller"]
    battery.give(
        "open_circuit_v",
        section["drive"].number("nominal_voltage_v") * 13 / 12,
        "own estimate: a rested full pack at 13 V for 12 V nominal, typical range 12 to 14 V",
    )
    period_ms = controller.number("period_ms")
    controller.give(
        "jitter_ms", 0.1 * period_ms, "own estimate: a tenth of the period; measure it from a log"
    )
    controller.give(
        "late_loop_ms",
        max(120.0, 3 * period_ms),
        "own estimate: 120 ms, or three periods where that is longer",
    )


def _fill_sensors(tables: dict[str, Any], assumed: list[Assumed], file: str | None) -> None:
    for group in ("sensor", "candidate"):
        for row, table in enumerate(tables.get(group, []), start=1):
            table.setdefault("name", "bottom" if (group, row) == ("sensor", 1) else f"{group}_{row}")
            fill_sensor(Section(f"{group}.{table['name']}", table, assumed), file)


def _fill_routine(section: Mapping[str, Section], sensors: list[dict[str, Any]]) -> None:
    routine, lift, drive = section["routine"], section["lift"], section["drive"]
    travel_mm = lift.number("travel_mm")
    if sensors:
        routine.give("sensor", sensors[0]["name"], "stated default: the first sensor")
    routine.give(
        "fast_speed_mm_s",
        min(150.0, 0.6 * _free_speed(drive)),
        "stated default: 150 mm/s, at most 60 % of the free speed",
    )
    fast = routine.number("fast_speed_mm_s")
    routine.give(
        "creep_speed_mm_s", fast / 5, "common practice, no source: an eighth to a fifth of the fast speed"
    )
    routine.give(
        "slow_zone_mm", min(90.0, travel_mm / 4), "stated default: 90 mm, at most a quarter of the travel"
    )
    slow_s = routine.number("slow_zone_mm") / routine.number("creep_speed_mm_s")
    routine.give(
        "timeout_s",
        max(2 * travel_mm / fast, 2 * slow_s, 2.0),
        "stated default: twice the longest move, at least 2 s",
    )
    routine.give(
        "travel_guard_mm", 1.15 * travel_mm, "common practice, no source: 1.1 to 1.2 times the travel"
    )
    routine.give("leave_limit_mm", min(150.0, travel_mm), "stated default: 150 mm, at most the travel")
    held = drive.table.get("command") == "duty"
    routine.give("stop", "shorted" if held else "hold", "stated default for this kind of command")
    routine.give("reference_mm", None, "the trip height of the routine's sensor at nominal values")


def _free_speed(drive: Section) -> float:
    """Free carriage speed [mm/s] for the default of the fast speed."""
    turns_per_s = drive.number("motor_free_speed_rpm") / 60 / drive.number("gear_ratio")
    diameters = (drive.number(key, 0.0) for key in ("spool_diameter_mm", "pulley_diameter_mm"))
    round_mm = math.pi * max(diameters) if drive.table["kind"] != "lead_screw" else drive.number("lead_mm")
    return max(turns_per_s * round_mm * drive.number("travel_per_line"), 1.0)
