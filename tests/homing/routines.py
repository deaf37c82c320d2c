"""The built-in routine with plain settings, and how to bend a table, for the tests of this folder."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from homing.builtin import Settings, builtin_table
from homing.kernel.codes import Order
from homing.routine import Row, Table

#: A magnet made from 30 mm down to the stop; numbers invented.
PLAIN = Settings(
    fast_m_s=0.18,
    creep_m_s=0.03,
    slow_zone_m=0.09,
    first_lift_m=0.04,
    back_off_m=0.01,
    leave_limit_m=0.15,
    stop=Order.HOLD,
    when_off=Order.SHORTED,
    settle_s=0.12,
    agree_readings=2,
    timeout_s=8.0,
    travel_guard_m=0.736,
    no_motion_s=0.4,
    recheck=True,
    recheck_tolerance_m=0.0015,
    retries=2,
    made_below_m=0.045,
    seen_above_m=0.015,
    possible_speed_m_s=0.75,
)


def routine(**changes: Any) -> Table:
    """The built-in table with some settings changed."""
    return builtin_table(replace(PLAIN, **changes))


def find(table: Table, source: str, to: str, nth: int = 0) -> Row:
    """The nth row from one phase to another."""
    return [row for row in table.rows if (row.source, row.to) == (source, to)][nth]


def find_asking(table: Table, source: str, name: str) -> Row:
    """The first row of a phase that asks for a condition."""
    return next(row for row in table.rows_of(source) if name in row.when)


def without(table: Table, row: Row) -> Table:
    return table.with_rows([each for each in table.rows if each != row])


def bent(table: Table, row: Row, **changes: Any) -> Table:
    """The table with one row changed."""
    return table.with_rows([replace(each, **changes) if each == row else each for each in table.rows])


def preceded(table: Table, row: Row, by: Row) -> Table:
    """The table with one row put before another."""
    at = table.rows.index(row)
    return table.with_rows((*table.rows[:at], by, *table.rows[at:]))


def demoted(table: Table, row: Row) -> Table:
    """The table with one row as the last of its phase."""
    rows = [each for each in table.rows if each != row]
    last = max(number for number, each in enumerate(rows) if each.source == row.source)
    return table.with_rows((*rows[: last + 1], row, *rows[last + 1 :]))


TABLE = routine()
