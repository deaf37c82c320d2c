"""Checks on the form of a table: roles, ends, reasons, rows and phases that live."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Effect
from homing.routine import Role
from homing.structure.survey import Survey, arrow, retries


def roles_are_filled(survey: Survey) -> Iterator[str]:
    """One start, at the head of the table; at least one zero and one fault."""
    roles = [phase.role for phase in survey.table.phases]
    if roles[0] is not Role.START or roles.count(Role.START) > 1:
        yield "a routine must have one start, and begin with it"
    for role in (Role.ZEROED, Role.FAULTED):
        if role not in roles:
            yield f"no phase is the end {role.value}"


def roles_match_commands(survey: Survey) -> Iterator[str]:
    """Moving phases move, all others stand."""
    for phase in survey.table.phases:
        if (phase.role is Role.MOVING) != (phase.command.way != 0):
            yield f"{phase.name} is {phase.role.value}, but its command does not fit"


def ends_absorb(survey: Survey) -> Iterator[str]:
    """A fault and a zero are left by a person only."""
    for row in survey.table.rows:
        if survey.table.phase(row.source).role in (Role.FAULTED, Role.ZEROED):
            yield f"{arrow(row)}: {row.source} is left without a person's request"


def guards_fault(survey: Survey) -> Iterator[str]:
    """A row with a reason leads to a fault and does nothing else; a row to a fault has a reason."""
    for row in survey.table.rows:
        if row.guard != survey.faults(row):
            yield f"{arrow(row)}: a reason and a fault belong together ({row.why})"
        if survey.faults(row) and row.effects:
            yield f"{arrow(row)}: a fault must do nothing but stop"


def rows_are_alive(survey: Survey) -> Iterator[str]:
    """Every row is taken in some situation."""
    for phase in survey.table.phases:
        s = survey.situations(phase)
        for number, row in enumerate(s.rows):
            if not (s.taken == number).any():
                yield f"{arrow(row)}: never taken, earlier rows answer first ({row.why})"


def phases_are_reached(survey: Survey) -> Iterator[str]:
    """Every phase can be entered."""
    reached, fresh = {survey.start.name}, {survey.start.name}
    while fresh:
        fresh = {row.to for row in survey.table.rows if row.source in fresh} - reached
        reached |= fresh
    for phase in survey.table.phases:
        if phase.name not in reached:
            yield f"{phase.name} is never entered"


def only_retries_go_back(survey: Survey) -> Iterator[str]:
    """Without rows that count a retry no phase is entered twice: the routine ends."""
    names = [phase.name for phase in survey.table.phases]
    ways = {(row.source, row.to) for row in survey.table.rows if not retries(row)}
    # take away what is not left or not entered any more; what remains goes round in circles
    while ends := [name for name in names if not _passed(name, ways)]:
        names = [name for name in names if name not in ends]
        ways = {way for way in ways if not set(way) & set(ends)}
    if names:
        yield f"goes round without counting a retry: {', '.join(names)}"


def _passed(name: str, ways: set[tuple[str, str]]) -> bool:
    return any(way[0] == name for way in ways) and any(way[1] == name for way in ways)


def edges_are_captured_on_the_way_in(survey: Survey) -> Iterator[str]:
    """An edge is captured by a row that leads from moving in to standing."""
    for row in survey.table.rows:
        inwards = survey.table.phase(row.source).command.way < 0
        stands = survey.table.phase(row.to).role is Role.STOPPED
        if Effect.CAPTURE_EDGE in row.effects and not (inwards and stands):
            yield f"{arrow(row)}: captures an edge otherwise than stopping on the way in"
