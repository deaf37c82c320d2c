"""The routine's table as a ``transitions`` machine: for diagrams, explanation and as the outside executor.

The only file that builds one. A machine judges the same condition bits as the kernel (``kernel.observe``);
agreement of both for every phase and every set of bits is tested exhaustively.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from transitions import Machine, MachineError

from homing.kernel.codes import Effect
from homing.routine import Row, Table

TRIGGER = "tick"


class RoutineModel:
    """What the machine drives: holds the bits of the present loop and notes what the taken row does."""

    phase: str

    def __init__(self, table: Table) -> None:
        self.table = table
        self.bits = 0
        self.taken: Row | None = None

    def holds(self, name: str) -> bool:
        """Whether a condition of the table holds in the present loop."""
        return bool((self.bits >> self.table.condition_index(name)) & 1)


class RoutineMachine:
    """One executor of a table: ``step(bits)`` takes the first row whose conditions hold.

    Parameters
    ----------
    table : Table

    Examples
    --------
    >>> machine = RoutineMachine(table)                  # doctest: +SKIP
    >>> machine.step(1 << table.condition_index("start_requested"))    # doctest: +SKIP
    'checking'
    """

    def __init__(self, table: Table) -> None:
        self.table = table
        self.model = RoutineModel(table)
        self._machine = Machine(
            model=self.model,
            states=[phase.name for phase in table.phases],
            initial=table.phases[0].name,
            auto_transitions=False,
            model_attribute="phase",
            send_event=False,
        )
        for row in table.rows:
            self._add(row)

    @property
    def phase(self) -> str:
        return self.model.phase

    def place(self, phase: str) -> None:
        """Put the machine into a phase, to ask what it would do there."""
        self._machine.set_state(phase)

    def step(self, bits: int) -> str:
        """One loop: returns the phase after it; ``taken`` is the row, or None if the phase stays."""
        self.model.bits, self.model.taken = bits, None
        if TRIGGER in self._machine.get_triggers(self.phase):
            self.model.tick()  # type: ignore[attr-defined]
        return self.phase

    @property
    def taken(self) -> Row | None:
        return self.model.taken

    @property
    def effects(self) -> tuple[Effect, ...]:
        """Effects of the row taken in the last loop."""
        return self.model.taken.effects if self.model.taken is not None else ()

    def fire(self, trigger: str) -> None:
        """Fire a trigger by name; an unknown one is an error."""
        if trigger != TRIGGER:
            raise MachineError(f"unknown trigger {trigger!r}; the table knows {TRIGGER!r} alone")
        self.step(self.model.bits)

    def _add(self, row: Row) -> None:
        self._machine.add_transition(
            TRIGGER,
            row.source,
            row.to,
            conditions=[self._asks(name) for name in row.when],
            unless=[self._asks(name) for name in row.unless],
            after=self._notes(row),
        )

    def _asks(self, name: str) -> Callable[..., bool]:
        return lambda *_: self.model.holds(name)

    def _notes(self, row: Row) -> Callable[..., Any]:
        def note(*_: Any) -> None:
            self.model.taken = row

        return note
