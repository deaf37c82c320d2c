"""One match log in the many ways in which controllers write logs: an invented dialect for each seed.

Kinds of dirt are those of the trade (common practice, no source): separators, decimal commas, stamps in
other units and from other epochs, 16-bit counters, turned levels, words for on and off, padded cells, empty
cells, repeated stamps, unrelated columns, a torn last line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from homing.words import Level
from replay.columns import ColumnSpec, LogColumns
from replay.units import Role, Unit

Row = tuple[object, ...]

HEADERS: dict[Role, tuple[str, ...]] = {
    Role.TIME: ("t", "run_time", "stamp", "clock"),
    Role.COUNTS: ("counts", "lift_pos", "slide enc", "Spool ticks"),
    Role.COMMAND: ("cmd", "out", "power", "u"),
    Role.SENSOR: ("lim", "eot", "S1", "home sw"),
    Role.BATTERY: ("vbat", "bus_v", "supply"),
    Role.CURRENT: ("amps", "i_mot", "lift_amps"),
    Role.STATE: ("mode", "phase", "Activity"),
    Role.COUNTS_2: ("counts_b",),
    Role.CURRENT_2: ("amps_b",),
}
ROLES = tuple(HEADERS)
#: Words for not made and made.
LEVELS = (("0", "1"), ("false", "true"), ("open", "pressed"), ("Not Pressed", "Pressed"))
#: Unit of the stamps, units to the second, decimals.
CLOCKS = ((Unit.SECOND, 1.0, 4), (Unit.MILLISECOND, 1e3, 0), (Unit.MICROSECOND, 1e6, 0))
#: Share of the cells of one column that are empty.
EMPTY = 0.002


@dataclass(frozen=True)
class Dialect:
    """How one controller writes its rows."""

    separator: str = ","
    comma: bool = False
    pad: str = ""
    bom: bool = False
    newline: str = "\n"
    levels: tuple[str, str] = LEVELS[0]
    active: Level = Level.HIGH
    clock: tuple[Unit, float, int] = CLOCKS[0]
    epoch_s: float = 0.0
    command: Unit = Unit.FRACTION
    bits: int = 0
    offset: int = 0
    empty: Role | None = None
    torn: bool = False
    unrelated: bool = False
    shuffled: bool = False
    without: tuple[Role, ...] = ()
    names: dict[Role, str] = field(default_factory=lambda: {role: HEADERS[role][0] for role in ROLES})


def dialect_of(rng: np.random.Generator, without: Sequence[Role] = ()) -> Dialect:
    """Draw a dialect; ``without`` are the columns that it lacks."""
    separator = str(rng.choice([",", ";", "\t"]))
    comma = separator != "," and rng.random() < 0.4
    bits = 16 if rng.random() < 0.15 else 0
    return Dialect(
        separator=separator,
        comma=bool(comma),
        pad=" " if rng.random() < 0.2 else "",
        bom=bool(rng.random() < 0.2),
        newline="\r\n" if rng.random() < 0.3 else "\n",
        levels=LEVELS[int(rng.integers(len(LEVELS)))],
        active=Level.LOW if rng.random() < 0.3 else Level.HIGH,
        clock=CLOCKS[int(rng.integers(len(CLOCKS)))],
        epoch_s=float(rng.choice([0.0, 3.17, 1_767_582_590.0])),
        command=Unit.FRACTION if rng.random() < 0.6 else Unit.PERCENT,
        bits=bits,
        offset=int(rng.integers(32_000, 32_700)) if bits else 0,
        empty=Role.CURRENT if rng.random() < 0.2 else None,
        torn=bool(rng.random() < 0.2),
        unrelated=bool(rng.random() < 0.4),
        shuffled=True,
        without=tuple(without),
        names={role: str(rng.choice(HEADERS[role])) for role in ROLES},
    )


def written(rows: Sequence[Row], how: Dialect, rng: np.random.Generator) -> tuple[str, LogColumns]:
    """Text of a log and the ``[log]`` table that says how to read it."""
    present = [(k, role) for k, role in enumerate(ROLES[: len(rows[0])]) if role not in how.without]
    order = [present[k] for k in rng.permutation(len(present))] if how.shuffled else present
    head = [how.names[role] for _, role in order] + (["wrist", "rssi"] if how.unrelated else [])
    lines = [head]
    for row in rows:
        cells = [_cell(row[k], role, how, rng) for k, role in order]
        lines.append(cells + ([f"{rng.normal():.1f}", "7"] if how.unrelated else []))
    text = how.newline.join((how.separator + how.pad).join(line) for line in lines)
    text = text[:-4] if how.torn else text + how.newline
    specs = {role: _spec(role, how) for _, role in present}
    return ("\ufeff" if how.bom else "") + text, LogColumns(specs)


def _cell(value: object, role: Role, how: Dialect, rng: np.random.Generator) -> str:
    if role is how.empty and rng.random() < EMPTY:
        return ""
    if role is Role.TIME:
        _, units, decimals = how.clock
        return _number((float(str(value)) + how.epoch_s) * units, decimals, how)
    if role is Role.COUNTS:
        count = int(str(value)) + how.offset
        half = 1 << (how.bits - 1) if how.bits else 0
        return str((count + half) % (2 * half) - half if how.bits else count)
    if role is Role.SENSOR:
        return how.levels[(value == 1) == (how.active is Level.HIGH)]
    if role is Role.COMMAND and how.command is Unit.PERCENT:
        return _number(100 * float(str(value)), 1, how)
    return str(value).replace(".", ",") if how.comma else str(value)


def _number(value: float, decimals: int, how: Dialect) -> str:
    text = f"{value:.{decimals}f}"
    return text.replace(".", ",") if how.comma else text


def _spec(role: Role, how: Dialect) -> ColumnSpec:
    units = {Role.TIME: how.clock[0], Role.COMMAND: how.command}
    active = how.active if role is Role.SENSOR else Level.HIGH
    return ColumnSpec(how.names[role], units.get(role), active)
