"""The retract-and-zero routine as a table: phases, conditions, rows. Declarations only.

Row order is priority: in each loop the first row of the present phase whose conditions hold is
taken. ``machine.py`` builds a state machine from the same table, ``compile_table`` the integer
arrays for the kernel. Stopping acts on the first made reading; zero is set from the captured
edge, at standstill, with readings that agree, after the slow approach only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Condition, Effect, Order, Reason


class Role(Enum):
    """What a phase is for."""

    START = "start"
    MOVING = "moving"
    STOPPED = "stopped"
    ZEROED = "zeroed"
    FAULTED = "faulted"


@dataclass(frozen=True)
class Command:
    """What the drive is told in a phase: ``value`` is a speed [m/s] (negative: inwards) or a duty."""

    order: Order
    value: float = 0.0


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
    """Phases, conditions and rows; the first phase is where a run begins."""

    phases: tuple[Phase, ...]
    conditions: tuple[Ask, ...]
    rows: tuple[Row, ...]

    def phase(self, name: str) -> Phase:
        return self.phases[self.phase_index(name)]

    def phase_index(self, name: str) -> int:
        return [phase.name for phase in self.phases].index(name)

    def condition_index(self, name: str) -> int:
        return [ask.name for ask in self.conditions].index(name)

    def with_rows(self, rows: Sequence[Row]) -> Table:
        """The same phases and conditions with other rows (mutations, guards switched off)."""
        return Table(self.phases, self.conditions, tuple(rows))

    def without_guards(self) -> Table:
        """The table with every guard and plausibility row taken out, for diagnostic coverage."""
        return self.with_rows([row for row in self.rows if not row.guard])


@dataclass(frozen=True)
class CompiledTable:
    """The table as integer arrays for the kernel.

    ``rows`` is (n, 6): source, bits that must hold, bits that must not, destination, effects, reason,
    sorted by source and, within it, in the table's order; ``first_row`` (phases + 1,) points into it.
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
    """Turn the table into arrays; faithful by construction, checked exhaustively by a test."""
    if len(table.conditions) > 62:
        raise ValueError(f"a table may ask at most 62 conditions; got {len(table.conditions)}")

    def mask(names: tuple[str, ...]) -> int:
        return sum(1 << table.condition_index(name) for name in names)

    packed: list[list[int]] = []
    first_row = [0]
    needs = []
    for phase in table.phases:
        own = [row for row in table.rows if row.source == phase.name]
        needs.append(0)
        for row in own:
            must, must_not = mask(row.when), mask(row.unless)
            effects = sum(int(effect) for effect in row.effects)
            source, to = table.phase_index(row.source), table.phase_index(row.to)
            packed.append([source, must, must_not, to, effects, int(row.reason)])
            needs[-1] |= must | must_not
        first_row.append(len(packed))
    return CompiledTable(
        phase_order=np.array([int(p.command.order) for p in table.phases], dtype=np.int64),
        phase_value=np.array([p.command.value for p in table.phases], dtype=np.float64),
        phase_role=np.array([_ROLE_CODE[p.role] for p in table.phases], dtype=np.int64),
        phase_needs=np.array(needs, dtype=np.int64),
        first_row=np.array(first_row, dtype=np.int64),
        rows=np.array(packed, dtype=np.int64).reshape(-1, 6),
        kinds=np.array([int(ask.kind) for ask in table.conditions], dtype=np.int64),
        parameters=np.array([ask.a for ask in table.conditions], dtype=np.float64),
    )
