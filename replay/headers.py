"""Headers taken apart: word parts and unit.

``"Spool ticks"``, ``"leftEncoder"``, ``"pos [mm]"`` and ``"bus_v"`` all come down to lower-case word
parts and perhaps a unit: in brackets, as last word part, or from a second header row.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from replay.units import Quantity, Unit

#: How units are spelt in headers [common practice, no source].
UNIT_WORDS: dict[str, Unit] = {
    word: unit
    for unit, spelt in {
        Unit.SECOND: "s sec secs second seconds",
        Unit.MILLISECOND: "ms msec msecs millis millisecond milliseconds",
        Unit.MICROSECOND: "us µs μs usec usecs micros microsecond microseconds",
        Unit.NANOSECOND: "ns nsec nanos nanosecond nanoseconds",
        Unit.COUNT: "counts count ticks tick pulses cnt",
        Unit.MILLIMETRE: "mm millimeter millimeters millimetre millimetres",
        Unit.CENTIMETRE: "cm centimeter centimeters centimetre centimetres",
        Unit.METRE: "m meter meters metre metres",
        Unit.INCH: "in inch inches",
        Unit.FRACTION: "fraction frac",
        Unit.PERCENT: "percent pct %",
        Unit.VOLT: "v volt volts",
        Unit.MILLIVOLT: "mv millivolt millivolts",
        Unit.AMPERE: "a amp amps ampere amperes",
        Unit.MILLIAMPERE: "ma milliamp milliamps",
    }.items()
    for word in spelt.split()
}

_BRACKETED = re.compile(r"[\[(]([^\])]*)[\])]")
_TOKEN = re.compile(r"[0-9A-Za-zµμ%]+")
_WORD = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-zµμ]+|[A-Z]+|\d+|%")


@dataclass(frozen=True, slots=True)
class Header:
    """A column's header: as written, in lower-case word parts, and its unit if it has one."""

    text: str
    parts: tuple[str, ...]
    unit: Unit | None

    @property
    def base(self) -> tuple[str, ...]:
        """Word parts without a trailing unit, unless nothing else is left."""
        if self.unit is not None and len(self.parts) > 1 and UNIT_WORDS.get(self.parts[-1]) is self.unit:
            return self.parts[:-1]
        return self.parts

    @property
    def unknown_unit(self) -> str:
        """What stands in brackets where a unit would, and is none; "" if there is no such thing."""
        inside = [each.strip() for each in _BRACKETED.findall(self.text) if each.strip()]
        return inside[-1] if inside and self.unit is None else ""


def header(text: str, unit_cell: str = "") -> Header:
    """Take a header apart; ``unit_cell`` is what a second header row says under it."""
    text = text.strip().strip('"').strip()
    bracketed = _BRACKETED.findall(text)
    tokens = _TOKEN.findall(text)
    parts = tuple(word.lower() for token in tokens for word in _words(token))
    unit = unit_word(unit_cell)
    for inside in bracketed:
        unit = unit or unit_word(inside)
    if unit is None and tokens:
        trailing = UNIT_WORDS.get(tokens[-1].lower())
        # a lone "t_s" says seconds, but a lone "v" or "a" may be any letter: only a time stands alone
        if trailing is not None and (len(tokens) > 1 or trailing.quantity is Quantity.TIME):
            unit = trailing
    if unit is None and len(parts) > 1 and len(parts[-1]) > 1:
        unit = UNIT_WORDS.get(parts[-1])
    return Header(text, parts, unit)


def unit_word(cell: str) -> Unit | None:
    """The unit that a cell names, with or without brackets; None when it names none."""
    return UNIT_WORDS.get(cell.strip().strip("[]()").strip().lower())


def is_unit_row(cells: list[str]) -> bool:
    """True for a second header row: every cell is a unit, bracketed or blank, and one at least a unit."""
    stripped = [cell.strip() for cell in cells]
    named = [cell for cell in stripped if unit_word(cell) is not None]
    plain = [cell for cell in stripped if cell not in ("", "-") and unit_word(cell) is None]
    return (
        bool(named)
        and not any(is_number_cell(cell) for cell in stripped)
        and all(cell.startswith(("[", "(")) or cell.lower() in _OTHER_UNITS for cell in plain)
    )


#: Units that a second header row may name for columns which do not matter here.
_OTHER_UNITS = frozenset(
    {
        *("deg", "rad", "rpm", "rad/s", "deg/s", "mm/s", "m/s", "in/s", "counts/s", "hz", "db", "dbm"),
        *("c", "degc", "°c", "k", "g", "n", "nm", "w", "1", "raw", "lsb"),
        *("bool", "boolean", "0/1", "on/off", "text", "string", "enum", "state", "int", "float"),
    }
)


def is_number_cell(cell: str) -> bool:
    """True for a number with decimal point or comma."""
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True


def _words(token: str) -> list[str]:
    # "mA" and "mV" are one word, though the capital would split them
    return [token] if token.lower() in UNIT_WORDS else _WORD.findall(token)
