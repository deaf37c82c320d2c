"""The routine's table as a ``transitions`` machine: for diagrams, explanation and as the outside executor.

The only file that builds one. A machine judges the same condition bits as the kernel (``kernel.observe``);
that both take the same row is tested for every phase and every set of bits.
"""

from __future__ import annotations

from collections.abc import Callable

from transitions import Machine, MachineError

from homing.kernel.codes import Effect
from homing.routine import Row, Table

#: The one event of the machine: a loop of the controller.
TRIGGER = "tick"


class RoutineModel:
    """What the machine drives: holds the bits of the present loop and notes which row was taken."""

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

    Raises
    ------
    ValueError
        When the machine would have to hide an attribute of its model.

    Examples
    --------
    >>> from homing.kernel.codes import Condition, Order
    >>> from homing.routine import Ask, Command, Phase, Role, Row, Table
    >>> stand = Command(Order.HOLD)
    >>> table = Table(
    ...     (Phase("waiting", Role.START, stand, ""), Phase("checking", Role.STOPPED, stand, "")),
    ...     (Ask("start_requested", Condition.START),),
    ...     (Row("waiting", ("start_requested",), (), "checking"),),
    ... )
    >>> machine = RoutineMachine(table)
    >>> machine.step(0)
    'waiting'
    >>> machine.step(1 << table.condition_index("start_requested"))
    'checking'
    """

    def __init__(self, table: Table) -> None:
        self.table = table
        self.model = RoutineModel(table)
        _refuse_shadows(self.model, table)
        self._machine = Machine(
            model=self.model,
            states=[phase.name for phase in table.phases],
            initial=table.phases[0].name,
            auto_transitions=False,
            model_attribute="phase",
            send_event=False,
        )
        # an event without transitions would otherwise be unknown to a table without rows
        self._machine.add_transition(TRIGGER, [], None)
        for row in table.rows:
            self._add(row)

    @property
    def phase(self) -> str:
        return self.model.phase

    @property
    def taken(self) -> Row | None:
        """The row taken in the last loop; None if the phase stayed."""
        return self.model.taken

    @property
    def effects(self) -> tuple[Effect, ...]:
        """Effects of the row taken in the last loop."""
        return self.model.taken.effects if self.model.taken is not None else ()

    @property
    def triggers(self) -> tuple[str, ...]:
        """Names of the events that the machine knows."""
        return tuple(self._machine.events)

    def place(self, phase: str) -> None:
        """Put the machine into a phase, to ask what it would do there."""
        self._machine.set_state(phase)

    def step(self, bits: int) -> str:
        """One loop with these condition bits; returns the phase after it."""
        return self.fire(TRIGGER, bits)

    def fire(self, trigger: str, bits: int) -> str:
        """Fire an event by name; returns the phase after it.

        Raises
        ------
        MachineError
            When the machine does not know the event.
        """
        if trigger not in self._machine.events:
            raise MachineError(f"unknown trigger {trigger!r}; the table knows {TRIGGER!r} alone")
        self.model.bits, self.model.taken = bits, None
        # a phase without rows stays; the library would call that an error
        if trigger in self._machine.get_triggers(self.phase):
            self._machine.events[trigger].trigger(self.model)
        return self.phase

    def _add(self, row: Row) -> None:
        self._machine.add_transition(
            TRIGGER,
            row.source,
            row.to,
            conditions=[self._asks(name) for name in row.when],
            unless=[self._asks(name) for name in row.unless],
            after=self._notes(row),
        )

    def _asks(self, name: str) -> Callable[[], bool]:
        return lambda: self.model.holds(name)

    def _notes(self, row: Row) -> Callable[[], None]:
        def note() -> None:
            self.model.taken = row

        return note


def _refuse_shadows(model: RoutineModel, table: Table) -> None:
    """The library leaves out, with a log line only, what it cannot bind to the model."""
    bound = {TRIGGER, f"may_{TRIGGER}", "trigger", "may_trigger"}
    bound |= {f"is_phase_{phase.name}" for phase in table.phases}
    for name in sorted(bound & set(dir(model))):
        raise ValueError(
            f"the model's attribute {name!r} must not bear the name of something that the machine binds"
        )
