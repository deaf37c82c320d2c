"""What the cells of a column say about the role it can play."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from replay.cells import different_words, says_pressed
from replay.table import CHARACTERS_TOLD, Table
from replay.units import ON_OFF, Role, Unit

#: Share of stamps that must not go back for a column to be a time.
RISING = 0.9
#: Share of cells that may be damaged in an on/off column; a column of other words has far more.
DAMAGED = 0.01
#: More different words than this are no states.
MOST_STATES = 64
#: Commands as fractions stay within this, allowing for a little overshoot in the logged value.
LARGEST_FRACTION = 1.05
#: Commands above this are no volts of a small robot, whose batteries give 12 V or 24 V.
LARGEST_VOLTS = 30.0


def fits(table: Table, role: Role, index: int) -> bool:
    """True when the cells of a column can be what the role needs."""
    column = table.columns[index]
    if role in (Role.SENSOR, Role.SENSOR_2):
        return on_off(table, index)
    if role is Role.STATE:
        return different_words(column) <= MOST_STATES
    cells = table.numbers(index)
    if not cells.mostly_readable:
        return False
    values = cells.good
    if role is Role.TIME:
        return rising(values)
    if role in (Role.COUNTS, Role.COUNTS_2):
        # a "count" that goes up by one each row, whatever the lift does, counts loops
        return "count" not in table.headers[index].parts or not _by_one(values)
    if role is Role.BATTERY:
        return bool(values.min() >= 0)
    if role is Role.COMMAND and _volts_only(table, index):
        return bool(values.min() < 0)
    return True


def unfit(table: Table, role: Role, index: int) -> str:
    """Why the cells of a column cannot be what the role needs, for a message; "" where it is not plain."""
    cells = table.readings(index) if role in ON_OFF else table.numbers(index)
    if role in ON_OFF or not cells.mostly_readable:
        bad = np.flatnonzero(cells.unreadable)
        wanted = "neither on nor off" if role in ON_OFF else "no number"
        if len(bad) == 0:
            return "it is empty throughout" if not cells.readable.any() else ""
        found = str(table.columns[index][int(bad[0])])[:CHARACTERS_TOLD]
        return f"its data row {int(table.row[bad[0]])} holds {found!r}, which is {wanted}"
    if role is Role.TIME:
        falls = bool(np.any(np.diff(cells.good) < 0))
        return "it goes back too often" if falls else f"it stays at {cells.good[0]:g}"
    return ""


def _by_one(values: NDArray[np.float64]) -> bool:
    # the beginning tells most columns apart
    return bool(np.all(np.diff(values[:1000]) == 1)) and bool(np.all(np.diff(values) == 1))


def on_off(table: Table, index: int) -> bool:
    """True when hardly any cell that holds something says neither on nor off."""
    cells = table.readings(index)
    readable, unreadable = int(cells.readable.sum()), int(cells.unreadable.sum())
    return readable > 0 and unreadable <= DAMAGED * readable


def rising(values: NDArray[np.float64]) -> bool:
    """True when hardly any value goes back, and some go forward."""
    # compared, not subtracted: a long log's temporary arrays cost more than what is done with them
    before, here = values[:-1], values[1:]
    if not (here > before).any():
        return False
    back = here < before
    return not back.any() or bool(np.mean(~back) >= RISING)


def tells_sensor(table: Table, index: int) -> bool:
    """True when the words of a column can only come from a switch or target."""
    return on_off(table, index) and says_pressed(table.columns[index])


def guess_command_unit(table: Table, index: int) -> Unit | None:
    """The only unit that the size of the commands allows; None where volts and percent both do."""
    values = table.numbers(index).good
    largest = max(-float(values.min()), float(values.max()))
    if largest <= LARGEST_FRACTION:
        return Unit.FRACTION
    if _volts_only(table, index):
        return Unit.VOLT
    return Unit.PERCENT if largest > LARGEST_VOLTS else None


def _volts_only(table: Table, index: int) -> bool:
    parts = set(table.headers[index].parts)
    return bool(parts & {"volts", "voltage"}) and not parts & {"command", "cmd", "output", "out"}
