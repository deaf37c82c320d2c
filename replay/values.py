"""What the cells of a column say about the role it can play."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from replay.cells import numbers, readings, says_pressed, words
from replay.table import Table
from replay.units import Role, Unit

#: Share of stamps that must not go back for a column to be a time.
RISING = 0.9
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
        return on_off(column)
    if role is Role.STATE:
        return len(set(words(column)[0].tolist())) <= MOST_STATES
    cells = numbers(column)
    if not cells.mostly_readable:
        return False
    values = cells.values[cells.readable]
    if role is Role.TIME:
        return rising(values)
    if role in (Role.COUNTS, Role.COUNTS_2):
        # a "count" that goes up by one each row, whatever the lift does, counts loops
        return "count" not in table.headers[index].parts or not bool(np.all(np.diff(values) == 1))
    if role is Role.BATTERY:
        return bool(values.min() >= 0)
    if role is Role.COMMAND and _volts_only(table, index):
        return bool(values.min() < 0)
    return True


def on_off(column: pl.Series) -> bool:
    """True when all cells that hold something say on or off."""
    cells = readings(column)
    return bool(cells.readable.any()) and not bool(cells.unreadable.any())


def rising(values: NDArray[np.float64]) -> bool:
    """True when hardly any value goes back, and some go forward."""
    steps = np.diff(values)
    return len(steps) > 0 and bool(np.any(steps > 0)) and bool(np.mean(steps >= 0) >= RISING)


def tells_sensor(table: Table, index: int) -> bool:
    """True when the words of a column can only come from a switch or target."""
    return on_off(table.columns[index]) and says_pressed(table.columns[index])


def guess_command_unit(table: Table, index: int) -> Unit | None:
    """The only unit that the size of the commands allows; None where volts and percent both do."""
    values = numbers(table.columns[index]).values
    largest = float(np.nanmax(np.abs(values)))
    if largest <= LARGEST_FRACTION:
        return Unit.FRACTION
    if _volts_only(table, index):
        return Unit.VOLT
    return Unit.PERCENT if largest > LARGEST_VOLTS else None


def _volts_only(table: Table, index: int) -> bool:
    parts = set(table.headers[index].parts)
    return bool(parts & {"volts", "voltage"}) and not parts & {"command", "cmd", "output", "out"}
