"""Every small mistake that one row of a routine's table may hold, and ways to tell whether it matters."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from homing.kernel.codes import Effect
from homing.routine import Row, Table
from homing.structure import findings
from homing.structure.situations import situations


@dataclass(frozen=True)
class Mutant:
    """A table with one mistake, in the row with this number; ``name`` says which."""

    name: str
    number: int
    table: Table


def mutants(table: Table) -> Iterator[Mutant]:
    """Each row deleted, sent elsewhere, made the last of its phase, or short of an effect or a condition."""
    for number, row in enumerate(table.rows):
        rows = table.rows
        named = f"{row.source} -> {row.to} when {' and '.join(row.when)}"
        named += f" unless {' or '.join(row.unless)}" if row.unless else ""
        for change, others in _mistakes(table, row):
            mutated = (*rows[:number], *others, *rows[number + 1 :])
            yield Mutant(f"{named}: {change}", number, table.with_rows(mutated))
        last = max(n for n, each in enumerate(rows) if each.source == row.source)
        if number != last:
            demoted = (*rows[:number], *rows[number + 1 : last + 1], row, *rows[last + 1 :])
            yield Mutant(f"{named}: made the last of its phase", number, table.with_rows(demoted))


def _mistakes(table: Table, row: Row) -> Iterator[tuple[str, tuple[Row, ...]]]:
    """What may stand in a row's place."""
    yield "deleted", ()
    for phase in table.phases:
        if phase.name != row.to:
            yield f"sent to {phase.name}", (replace(row, to=phase.name),)
    for effect in row.effects:
        left = tuple(each for each in row.effects if each is not effect)
        yield f"without {effect.name.lower()}", (replace(row, effects=left),)
    for name in row.when:
        yield f"not asking {name}", (replace(row, when=tuple(each for each in row.when if each != name)),)
    for name in row.unless:
        left_unless = tuple(each for each in row.unless if each != name)
        yield f"not excluding {name}", (replace(row, unless=left_unless),)


def caught_by_structure(mutant: Mutant) -> bool:
    return bool(findings(mutant.table))


def behaves_alike(table: Table, mutant: Mutant) -> bool:
    """Whether the mutant leads to the same phase with the same effects in every situation that can be."""
    return all(
        _answer(phase.name, table.rows_of(phase.name), holding)
        == _answer(phase.name, mutant.table.rows_of(phase.name), holding)
        for phase in table.phases
        if table.rows_of(phase.name) != mutant.table.rows_of(phase.name)
        for holding in _situations(table, phase.name)
    )


def _situations(table: Table, phase: str) -> Iterator[set[str]]:
    s = situations(table, table.phase(phase))
    for holds in s.holds:
        yield {ask.name for ask, held in zip(s.asks, holds, strict=True) if held}


def _answer(phase: str, rows: tuple[Row, ...], holding: set[str]) -> tuple[str, frozenset[Effect]]:
    """Where a situation leads to, and with which effects; the reason given is left out."""
    for row in rows:
        if holding.issuperset(row.when) and holding.isdisjoint(row.unless):
            return row.to, frozenset(row.effects)
    return phase, frozenset()
