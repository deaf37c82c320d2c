"""An own routine as a ``Table``: from here on it is run, drawn and exported like the built-in one."""

from __future__ import annotations

from homing.kernel.codes import Order, Reason
from homing.own.routine import OwnAsk, OwnPhase, OwnRoutine, OwnRow
from homing.routine import Ask, Command, Phase, Role, Row, Table, spoken

_MM = 1e-3


def own_table(own: OwnRoutine, *, told_by_standing: bool = False) -> Table:
    """Build the table; conditions that several rows share are asked once.

    Parameters
    ----------
    own : OwnRoutine
    told_by_standing : bool
        The hard stop itself is the sensor.
    """
    asks = {ask.name: ask for row in own.rows for ask in (*row.when, *row.unless)}
    faulted = {phase.name for phase in own.phases if phase.role is Role.FAULTED}
    return Table(
        phases=tuple(map(_phase, own.phases)),
        conditions=tuple(_ask(name, ask) for name, ask in asks.items()),
        rows=tuple(_row(row, row.to in faulted and row.source not in faulted) for row in own.rows),
        told_by_standing=told_by_standing,
    )


def _phase(phase: OwnPhase) -> Phase:
    scale = _MM if phase.order is Order.SPEED else 1.0
    return Phase(phase.name, phase.role, Command(phase.order, phase.value * scale), phase.why)


def _ask(name: str, ask: OwnAsk) -> Ask:
    known = ask.word
    return Ask(name, known.kind, known.fixed if ask.value is None else ask.value * known.scale)


def _row(row: OwnRow, faults: bool) -> Row:
    return Row(
        source=row.source,
        when=tuple(ask.name for ask in row.when),
        unless=tuple(ask.name for ask in row.unless),
        to=row.to,
        effects=tuple(each.effect for each in row.effects),
        reason=Reason.OWN if faults else Reason.NONE,
        why=row.why or (_conditions(row) if faults else ""),
    )


def _conditions(row: OwnRow) -> str:
    """What a row to a fault says of itself when the file does not say why."""
    asked = " and ".join(spoken(ask.name) for ask in row.when) or "always"
    return f"row {row.number}: {asked}"
