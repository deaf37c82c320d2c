"""Roles that a column of a log can play, and the units in which it may be written.

Inside a `Log` everything stands in the first unit of its quantity: s, counts (or mm), fraction (or V),
V, A. The conversion happens once, when the file is read.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum, StrEnum


class Quantity(Enum):
    """What a unit measures."""

    TIME = "time"
    COUNT = "count"
    LENGTH = "length"
    SHARE = "share"
    VOLTAGE = "voltage"
    CURRENT = "current"


class Unit(Enum):
    """Units that a log may use: word in the file, quantity, and how many make one base unit.

    The base units are s, counts, mm, fraction, V and A. Divisors are used instead of factors because
    they are whole numbers for the small units, so that 7175 ms becomes the float nearest to 7.175 s.
    """

    SECOND = ("s", Quantity.TIME, 1.0)
    MILLISECOND = ("ms", Quantity.TIME, 1e3)
    MICROSECOND = ("us", Quantity.TIME, 1e6)
    NANOSECOND = ("ns", Quantity.TIME, 1e9)
    COUNT = ("counts", Quantity.COUNT, 1.0)
    MILLIMETRE = ("mm", Quantity.LENGTH, 1.0)
    CENTIMETRE = ("cm", Quantity.LENGTH, 0.1)
    METRE = ("m", Quantity.LENGTH, 1e-3)
    INCH = ("in", Quantity.LENGTH, 1 / 25.4)
    FRACTION = ("fraction", Quantity.SHARE, 1.0)
    PERCENT = ("percent", Quantity.SHARE, 100.0)
    VOLT = ("V", Quantity.VOLTAGE, 1.0)
    MILLIVOLT = ("mV", Quantity.VOLTAGE, 1e3)
    AMPERE = ("A", Quantity.CURRENT, 1.0)
    MILLIAMPERE = ("mA", Quantity.CURRENT, 1e3)

    def __init__(self, word: str, quantity: Quantity, per_base: float) -> None:
        self.word = word
        self.quantity = quantity
        self.per_base = per_base

    @property
    def base(self) -> Unit:
        """The unit in which a `Log` holds this quantity."""
        return next(unit for unit in Unit if unit.quantity is self.quantity)


class Role(StrEnum):
    """What a column of a log is; the values are the keys of ``[log]``."""

    TIME = "time"
    COUNTS = "counts"
    COMMAND = "command"
    SENSOR = "sensor"
    SENSOR_2 = "sensor_2"
    BATTERY = "battery_v"
    CURRENT = "current_a"
    STATE = "state"
    TARGET = "target"
    COUNTS_2 = "counts_2"
    CURRENT_2 = "current_2"


#: Roles without which a log says nothing about a lift.
REQUIRED: tuple[Role, ...] = (Role.TIME, Role.COUNTS)

#: The role that a second column of the same kind plays.
SECOND: Mapping[Role, Role] = {
    Role.COUNTS: Role.COUNTS_2,
    Role.CURRENT: Role.CURRENT_2,
    Role.SENSOR: Role.SENSOR_2,
}

#: Roles of on/off columns; all others but the state are numbers.
ON_OFF: frozenset[Role] = frozenset({Role.SENSOR, Role.SENSOR_2})

_TIMES = (Quantity.TIME,)
_PLACES = (Quantity.COUNT, Quantity.LENGTH)

#: Quantities that a role accepts; the first one is meant where nothing is said.
QUANTITIES: Mapping[Role, tuple[Quantity, ...]] = {
    Role.TIME: _TIMES,
    Role.COUNTS: _PLACES,
    Role.COUNTS_2: _PLACES,
    Role.TARGET: _PLACES,
    Role.COMMAND: (Quantity.SHARE, Quantity.VOLTAGE),
    Role.BATTERY: (Quantity.VOLTAGE,),
    Role.CURRENT: (Quantity.CURRENT,),
    Role.CURRENT_2: (Quantity.CURRENT,),
    Role.SENSOR: (),
    Role.SENSOR_2: (),
    Role.STATE: (),
}


def units_of(role: Role) -> tuple[Unit, ...]:
    """The units in which a column of this role may be written; empty where it has none."""
    return tuple(unit for quantity in QUANTITIES[role] for unit in Unit if unit.quantity is quantity)
