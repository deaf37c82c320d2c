"""The routine's table told in words: for every phase what it does and by which ways it is left.

The same telling is printed as text for a notebook (``diagram_text``) and drawn (``figures.routine``).
Rows keep the table's order, which is their priority; the many rows that lead to a fault are gathered
into one way out that lists their reasons.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

from homing.kernel.codes import Effect, Order, Reason
from homing.routine import Command, Phase, Role, Row, Table, spoken

_EFFECTS = {
    Effect.CAPTURE_EDGE: "captures the edge",
    Effect.KEEP_EDGE: "keeps the edge to compare",
    Effect.SET_ZERO: "sets zero from the edge",
    Effect.COUNT_RETRY: "counts a retry",
    Effect.ZERO_HERE: "sets zero from the present counts",
    Effect.FORGET_RETRIES: "forgets the retries",
    Effect.FORGET_ZERO: "forgets the zero",
    Effect.KEEP_CLOCKS: "lets timer and distance run on",
}


@dataclass(frozen=True)
class Way:
    """One way out of a phase: number of its row in the table (from 1), where to, and when."""

    number: int
    to: str
    when: str
    does: str


@dataclass(frozen=True)
class Step:
    """One phase with its ways out; ``faults`` are the reasons for which it gives up."""

    name: str
    title: str
    role: Role
    command: str
    why: str
    ways: tuple[Way, ...]
    faults: tuple[str, ...]
    fault_phase: str


def steps(table: Table) -> tuple[Step, ...]:
    """All phases of the table, in its order."""
    faulted = {phase.name for phase in table.phases if phase.role is Role.FAULTED}
    numbered = tuple(enumerate(table.rows, 1))
    return tuple(_step(phase, numbered, faulted) for phase in table.phases)


def diagram_text(table: Table, width: int = 100) -> str:
    """The routine as text: phases in order, each with the ways out of it in order of priority."""
    blocks = []
    for step in steps(table):
        lines = [f"{step.title} ({step.role.value}; {step.command})"]
        lines += textwrap.wrap(step.why, width - 4, initial_indent="    ", subsequent_indent="    ")
        for way in step.ways:
            does = f" [{way.does}]" if way.does else ""
            lines += _hang(f"{way.number:>3} -> {_spaced(way.to)}: ", f"when {way.when}{does}", width)
        if step.faults:
            lines += _hang(f"  ! -> {_spaced(step.fault_phase)}: ", ", or ".join(step.faults), width)
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def command_words(command: Command) -> str:
    """What the drive is told, in the units of the lift file."""
    if command.order is Order.SPEED:
        mm_s = 1000 * command.value
        return f"{'in' if mm_s < 0 else 'out'} at {abs(mm_s):.4g} mm/s" if mm_s else "speed 0"
    if command.order is Order.DUTY:
        return f"{'in' if command.value < 0 else 'out'} at {100 * abs(command.value):.3g} % duty"
    return {Order.HOLD: "stop, held", Order.SHORTED: "stop, windings shorted"}.get(
        command.order, "stop, windings open"
    )


def _step(phase: Phase, numbered: Iterable[tuple[int, Row]], faulted: set[str]) -> Step:
    own = [(number, row) for number, row in numbered if row.source == phase.name]
    ways = tuple(
        Way(number, row.to, _when(row), _does(row.effects)) for number, row in own if row.to not in faulted
    )
    failing = [row for _, row in own if row.to in faulted]
    return Step(
        name=phase.name,
        title=_spaced(phase.name),
        role=phase.role,
        command=command_words(phase.command),
        why=phase.why,
        ways=ways,
        faults=tuple(dict.fromkeys(_fault(row) for row in failing)),
        fault_phase=failing[0].to if failing else "",
    )


def _when(row: Row) -> str:
    asked = " and ".join(_spaced(name) for name in row.when) or "always"
    barred = " or ".join(_spaced(name) for name in row.unless)
    return f"{asked}, unless {barred}" if barred else asked


def _fault(row: Row) -> str:
    if row.reason is Reason.OWN:
        return row.why
    return _when(row) if row.reason is Reason.NONE else row.reason.name.lower().replace("_", " ")


def _does(effects: Iterable[Effect]) -> str:
    return ", ".join(_EFFECTS[effect] for effect in effects)


def _spaced(name: str) -> str:
    return spoken(name)


def _hang(head: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="    " + head, subsequent_indent=" " * 12)
