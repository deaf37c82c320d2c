"""The retract-and-zero routine as a table: phases, conditions, rows. Declarations only.

Row order is priority: in each loop the first row of the present phase whose conditions hold is
taken. ``machine.py`` builds a state machine from the same table, ``compile_table`` the integer
arrays for the kernel. Stopping acts on the first made reading; zero is set from the captured
edge, at standstill, with readings that agree, after the slow approach only.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from enum import Enum
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import REASON_TEXT, Asks, Condition, Effect, Order, Reason

#: Conditions that a table may ask: one bit each of a signed 64-bit integer, with one to spare.
MOST_CONDITIONS = 62
#: Reasons from here on are rows of an own table.
FIRST_OWN_REASON = 1000
#: Conditions that hold on a made reading only: a row that asks for one acts on that reading.
ASKS_MADE = frozenset((Condition.MADE, Condition.MADE_RUN, Condition.JUST_MADE, Condition.MADE_ABOVE))


class Role(Enum):
    """What a phase is for."""

    START = "start"
    MOVING = "moving"
    STOPPED = "stopped"
    ZEROED = "zeroed"
    FAULTED = "faulted"


def spoken(name: str) -> str:
    """A name of the table as a person says it: ``in_phase_0p1_s`` is "in phase 0.1 s"."""
    return re.sub(r"(?<=\d)p(?=\d)", ".", name.replace("_", " ")).replace("minus ", "-")


@dataclass(frozen=True)
class Command:
    """What the drive is told in a phase: ``value`` is a speed [m/s] (negative: inwards) or a duty."""

    order: Order
    value: float = 0.0

    def __post_init__(self) -> None:
        if isinstance(self.value, bool) or not math.isfinite(self.value):
            raise ValueError(f"the value of a command must be a finite number; got {self.value!r}")
        if self.order not in (Order.SPEED, Order.DUTY) and self.value != 0.0:
            raise ValueError(f"a stop takes no value; got {self.order.name} with {self.value:g}")
        if self.order is Order.DUTY and abs(self.value) > 1.0:
            raise ValueError(f"a duty must lie within -1 to 1; got {self.value:g}")

    @property
    def way(self) -> int:
        """Direction asked for: -1 inwards, +1 outwards, 0 stop."""
        return (self.value > 0.0) - (self.value < 0.0)


@dataclass(frozen=True)
class Phase:
    """One phase of the routine."""

    name: str
    role: Role
    command: Command
    why: str


@dataclass(frozen=True)
class Ask:
    """A named condition with its parameter (SI); the name is how rows refer to it."""

    name: str
    kind: Condition
    a: float = 0.0


@dataclass(frozen=True)
class Row:
    """From ``source``, when all of ``when`` and none of ``unless`` hold, go to ``to`` and do ``effects``.

    ``guard`` marks the rows that exist to catch what is going wrong; ``reason`` is what they report.
    """

    source: str
    when: tuple[str, ...]
    unless: tuple[str, ...]
    to: str
    effects: tuple[Effect, ...] = ()
    reason: Reason = Reason.NONE
    why: str = ""

    @property
    def guard(self) -> bool:
        return self.reason is not Reason.NONE


@dataclass(frozen=True)
class Table:
    """Phases, conditions and rows; the first phase is where a run begins.

    ``told_by_standing``: the end is told by the counts standing still (the hard stop as sensor); then
    not moving inwards is the sign sought, not a fault.

    Raises
    ------
    ValueError
        When a name is unknown or declared twice, or a row contradicts itself.
    """

    phases: tuple[Phase, ...]
    conditions: tuple[Ask, ...]
    rows: tuple[Row, ...]
    told_by_standing: bool = False

    def __post_init__(self) -> None:
        for complaint in _complaints(self):
            raise ValueError(complaint)

    @cached_property
    def _phase_indices(self) -> Mapping[str, int]:
        return {phase.name: number for number, phase in enumerate(self.phases)}

    @cached_property
    def _condition_indices(self) -> Mapping[str, int]:
        return {ask.name: number for number, ask in enumerate(self.conditions)}

    def phase(self, name: str) -> Phase:
        return self.phases[self.phase_index(name)]

    def phase_index(self, name: str) -> int:
        return self._phase_indices[name]

    def condition(self, name: str) -> Ask:
        return self.conditions[self.condition_index(name)]

    def condition_index(self, name: str) -> int:
        return self._condition_indices[name]

    def rows_of(self, name: str) -> tuple[Row, ...]:
        """The rows of a phase in order of priority."""
        return tuple(row for row in self.rows if row.source == name)

    def reason_code(self, row: Row) -> int:
        """What a run reports that ended by this row: a ``Reason``, or the number of an own row."""
        return FIRST_OWN_REASON + self.rows.index(row) if row.reason is Reason.OWN else int(row.reason)

    def reason_text(self, code: int) -> str:
        """The reason of a run in words; that of an own table is what its row says."""
        return (
            self.rows[code - FIRST_OWN_REASON].why if code >= FIRST_OWN_REASON else REASON_TEXT[Reason(code)]
        )

    def with_rows(self, rows: Sequence[Row]) -> Table:
        """The same phases and conditions with other rows (mutations, guards switched off)."""
        return replace(self, rows=tuple(rows))

    def without_guards(self) -> Table:
        """The table with every guard and plausibility row taken out, for diagnostic coverage."""
        return self.with_rows([row for row in self.rows if not row.guard])


def _complaints(table: Table) -> Iterator[str]:
    """What makes a table impossible to run, one sentence each."""
    phases, asks = [phase.name for phase in table.phases], [ask.name for ask in table.conditions]
    if not phases:
        yield "a table must have at least one phase"
    if len(asks) > MOST_CONDITIONS:
        yield f"a table may ask at most {MOST_CONDITIONS} conditions; got {len(asks)}"
    yield from (f"phase {name!r} is declared twice" for name in _twice(phases))
    yield from (f"condition {name!r} is declared twice" for name in _twice(asks))
    for ask in table.conditions:
        if isinstance(ask.a, bool) or not math.isfinite(ask.a):
            yield f"condition {ask.name!r} must have a finite number as parameter; got {ask.a!r}"
    for number, row in enumerate(table.rows, 1):
        head = f"row {number} ({row.source} -> {row.to})"
        yield from (f"{head}: {wrong}" for wrong in _row_complaints(row, phases, asks))


def _row_complaints(row: Row, phases: list[str], asks: list[str]) -> Iterator[str]:
    yield from (_unknown("phase", name, phases) for name in (row.source, row.to) if name not in phases)
    named = (*row.when, *row.unless)
    yield from (_unknown("condition", name, asks) for name in named if name not in asks)
    yield from (f"condition {name!r} is named twice" for name in _twice(named))
    yield from (f"effect {effect.name} is named twice" for effect in _twice(row.effects))


def _unknown(what: str, name: str, known: list[str]) -> str:
    near = get_close_matches(name, known, n=1)
    return f"unknown {what} {name!r}" + (f"; did you mean {near[0]!r}?" if near else "")


def _twice(things: Iterable[Any]) -> list[Any]:
    things = list(things)
    return [thing for thing in dict.fromkeys(things) if things.count(thing) > 1]


@dataclass(frozen=True)
class CompiledTable:
    """The table as integer arrays for the kernel.

    ``rows`` is (n, 7): source, bits that must hold, bits that must not, destination, effects, reason
    (``Table.reason_code``), what it asks (``Asks``). Rows are sorted by source and, within it, in the table's
    order; ``first_row`` (phases + 1,) points into them.
    """

    phase_order: NDArray[np.int64]
    phase_value: NDArray[np.float64]
    phase_role: NDArray[np.int64]
    phase_needs: NDArray[np.int64]
    first_row: NDArray[np.int64]
    rows: NDArray[np.int64]
    kinds: NDArray[np.int64]
    parameters: NDArray[np.float64]

    def arrays(self) -> tuple[NDArray[Any], ...]:
        """The arrays in the order in which the kernel takes them."""
        return (
            self.phase_order,
            self.phase_value,
            self.phase_role,
            self.phase_needs,
            self.first_row,
            self.rows,
            self.kinds,
            self.parameters,
        )


_ROLE_CODE = {role: code for code, role in enumerate(Role)}


def compile_table(table: Table) -> CompiledTable:
    """Turn the table into arrays; agreement with the state machine is tested exhaustively."""

    def mask(names: Iterable[str]) -> int:
        return sum(1 << table.condition_index(name) for name in names)

    def to(row: Row) -> int:
        return table.phase_index(row.to)

    def asks(row: Row) -> int:
        kinds = {table.condition(name).kind for name in row.when}
        return Asks.MADE * bool(kinds & ASKS_MADE) + Asks.START * (Condition.START in kinds)

    own = [table.rows_of(phase.name) for phase in table.phases]
    packed = [
        [
            source,
            mask(row.when),
            mask(row.unless),
            to(row),
            sum(row.effects),
            table.reason_code(row),
            asks(row),
        ]
        for source, rows in enumerate(own)
        for row in rows
    ]
    needs = [mask({name for row in rows for name in (*row.when, *row.unless)}) for rows in own]
    return CompiledTable(
        phase_order=np.array([int(p.command.order) for p in table.phases], dtype=np.int64),
        phase_value=np.array([p.command.value for p in table.phases], dtype=np.float64),
        phase_role=np.array([_ROLE_CODE[p.role] for p in table.phases], dtype=np.int64),
        phase_needs=np.array(needs, dtype=np.int64),
        first_row=np.cumsum([0, *map(len, own)], dtype=np.int64),
        rows=np.array(packed, dtype=np.int64).reshape(-1, 7),
        kinds=np.array([int(ask.kind) for ask in table.conditions], dtype=np.int64),
        parameters=np.array([ask.a for ask in table.conditions], dtype=np.float64),
    )
