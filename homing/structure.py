"""Checks on a routine's table that need no simulation: what every sound routine must have.

Each check looks at one rule and yields one sentence a violation. The built-in table yields none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from homing.kernel.codes import Condition, Effect, Order
from homing.routine import Phase, Role, Row, Table

Check = Callable[[Table], Iterator[str]]


def findings(table: Table) -> tuple[str, ...]:
    """Everything that the structural checks find wrong with a table; empty for a sound one."""
    return tuple(sentence for check in CHECKS for sentence in check(table))


def _rows(table: Table, phase: Phase) -> list[Row]:
    return [row for row in table.rows if row.source == phase.name]


def _kinds(table: Table, names: tuple[str, ...]) -> set[Condition]:
    return {table.conditions[table.condition_index(name)].kind for name in names}


def _asks(table: Table, row: Row, *kinds: Condition) -> bool:
    return set(kinds) <= _kinds(table, row.when)


def _way(phase: Phase) -> int:
    moves = phase.command.order in (Order.SPEED, Order.DUTY) and phase.command.value != 0.0
    return (1 if phase.command.value > 0.0 else -1) if moves else 0


def _faults(table: Table, row: Row) -> bool:
    return table.phase(row.to).role is Role.FAULTED


def ends_absorb(table: Table) -> Iterator[str]:
    """A fault and a zero are left by a person's request only, and do not move."""
    for phase in table.phases:
        if phase.role in (Role.FAULTED, Role.ZEROED):
            if _rows(table, phase):
                yield f"{phase.name} can be left without a request"
            if _way(phase):
                yield f"{phase.name} moves"


def roles_match_commands(table: Table) -> Iterator[str]:
    """Phases that stand have a stop for a command."""
    for phase in table.phases:
        if phase.role in (Role.START, Role.STOPPED) and _way(phase):
            yield f"{phase.name} should stand, but moves"


def moving_phases_are_bounded(table: Table) -> Iterator[str]:
    """Each moving phase is bounded in time and travel and notices wrong counts, wrong way, no motion."""
    musts = {
        "time-out": Condition.TIMER_OVER,
        "travel guard": Condition.MOVED,
        "count jump guard": Condition.JUMPED,
        "wrong way guard": Condition.WRONG_WAY,
    }
    for phase in table.phases:
        if not _way(phase):
            continue
        for words, kind in musts.items():
            if not any(_faults(table, row) and _kinds(table, row.when) == {kind} for row in _rows(table, phase)):
                yield f"{phase.name} moves without {words}"
        if _way(phase) and not any(_asks(table, row, Condition.NOT_MOVING) for row in _rows(table, phase)):
            yield f"{phase.name} moves without noticing that it does not"


def standing_phases_are_bounded(table: Table) -> Iterator[str]:
    """Each standing phase ends in time, notices that it moves, and that the counts jump."""
    for phase in table.phases:
        if phase.role is not Role.STOPPED:
            continue
        for words, kind in {
            "time limit": Condition.TIMER_OVER,
            "noticing that it moves": Condition.MOVED,
            "count jump guard": Condition.JUMPED,
        }.items():
            if not any(_faults(table, row) and _kinds(table, row.when) == {kind} for row in _rows(table, phase)):
                yield f"{phase.name} stands without {words}"


def inward_phases_stop_on_first_made(table: Table) -> Iterator[str]:
    """Moving inwards, a single made reading leads to standing; nothing else is waited for."""
    for phase in table.phases:
        if _way(phase) >= 0:
            continue
        plain = [
            row for row in _rows(table, phase) if _kinds(table, row.when) == {Condition.MADE} and not row.unless
        ]
        if not any(table.phase(row.to).role is Role.STOPPED for row in plain):
            yield f"{phase.name} does not stop on the first made reading"


def outward_phases_leave(table: Table) -> Iterator[str]:
    """Moving out ends somewhere inward-bound or standing, and a sensor that stays made is noticed."""
    for phase in table.phases:
        if _way(phase) <= 0:
            continue
        rows = _rows(table, phase)
        if not any(_way(table.phase(row.to)) < 0 for row in rows):
            yield f"{phase.name} moves out and never comes back in"
        leaves = [row for row in rows if _asks(table, row, Condition.CLEAR_BY)]
        lifts = [row for row in rows if _asks(table, row, Condition.MADE)]
        if leaves and not any(_faults(table, row) and _asks(table, row, Condition.MOVED_OUT) for row in rows):
            yield f"{phase.name} does not notice a sensor that stays made"
        if not leaves and not any(_way(table.phase(row.to)) > 0 for row in lifts):
            yield f"{phase.name} moves out and does not look whether it has left the sensor"


def zero_needs_a_sound_edge(table: Table) -> Iterator[str]:
    """Zero is set at standstill, with readings that agree, from a trusted edge of a slow approach."""
    slow = _slow_phases(table)
    for row in table.rows:
        zeroes = Effect.SET_ZERO in row.effects
        ends_zeroed = table.phase(row.to).role is Role.ZEROED
        if ends_zeroed != zeroes:
            yield f"{row.source} -> {row.to}: zeroed and setting zero do not go together"
        if not zeroes:
            continue
        if not _asks(table, row, Condition.STANDSTILL, Condition.MADE_RUN):
            yield f"{row.source} -> {row.to}: zero without standstill and agreeing readings"
        if Condition.EDGE_LONG_LOOP not in _kinds(table, row.unless):
            yield f"{row.source} -> {row.to}: zero from an edge read across an overlong loop"
        if table.phase(row.source).role is not Role.STOPPED:
            yield f"{row.source} -> {row.to}: zero set while moving"
        for entry in table.rows:
            if entry.to == row.source and not (entry.source in slow and Effect.CAPTURE_EDGE in entry.effects):
                yield f"{entry.source} -> {row.source}: zero reachable without the edge of a slow approach"


def slow_approach_follows_release(table: Table) -> Iterator[str]:
    """The slow approach that captures an edge begins only after the sensor has let go."""
    capturing = {row.source for row in table.rows if Effect.CAPTURE_EDGE in row.effects}
    for row in table.rows:
        if row.to in capturing and not _asks(table, row, Condition.CLEAR_BY):
            yield f"{row.source} -> {row.to}: slow approach without the sensor ever released"
    if not capturing:
        yield "no edge is ever captured"


def kept_edges_are_compared(table: Table) -> Iterator[str]:
    """Where an edge is kept for comparison, zero asks for agreement, and disagreement has an answer."""
    keeps = any(Effect.KEEP_EDGE in row.effects for row in table.rows)
    for row in table.rows:
        if keeps and Effect.SET_ZERO in row.effects and not _asks(table, row, Condition.EDGES_AGREE):
            yield f"{row.source} -> {row.to}: two edges found and not compared"
        if Condition.EDGES_AGREE in _kinds(table, row.unless) and not _faults(table, row):
            if Effect.KEEP_EDGE not in row.effects or Effect.COUNT_RETRY not in row.effects:
                yield f"{row.source} -> {row.to}: edges differ, but the newest is not kept and counted"


def retries_are_bounded(table: Table) -> Iterator[str]:
    """Each retry is counted, asks whether retries are left, leads back into motion, and can be used up."""
    for row in table.rows:
        if Effect.COUNT_RETRY in row.effects:
            if Condition.RETRIES_USED not in _kinds(table, row.unless):
                yield f"{row.source} -> {row.to}: retries without end"
            if _way(table.phase(row.to)) <= 0:
                yield f"{row.source} -> {row.to}: a retry that does not move out"
            used_up = (other for other in _rows(table, table.phase(row.source)) if _faults(table, other))
            if not any(_asks(table, other, Condition.RETRIES_USED) and _same_but_retries(table, row, other) for other in used_up):
                yield f"{row.source}: retries used up is not answered ({row.why})"
        elif table.phase(row.source).role is Role.STOPPED and _returns(table, row):
            yield f"{row.source} -> {row.to}: goes back without counting"


def _same_but_retries(table: Table, retry: Row, giving_up: Row) -> bool:
    """``giving_up`` answers the same situation once retries are used."""
    left = {name for name in giving_up.when if Condition.RETRIES_USED not in _kinds(table, (name,))}
    return left <= set(retry.when)


def _returns(table: Table, row: Row) -> bool:
    """The row leads from standing on or off the sensor back to leaving it, not as the first time."""
    asked = _kinds(table, row.when) | _kinds(table, row.unless)
    again = {Condition.EDGE_LONG_LOOP, Condition.CLEAR_RUN} & _kinds(table, row.when)
    return bool(again) and Condition.STANDSTILL in asked and _way(table.phase(row.to)) > 0


def unsound_situations_are_answered(table: Table) -> Iterator[str]:
    """Standing after a stop, a lost reading and an untrusted edge both have an answer."""
    capturing_into = {row.to for row in table.rows if Effect.CAPTURE_EDGE in row.effects}
    for name in sorted(capturing_into):
        rows = _rows(table, table.phase(name))
        if not any(_asks(table, row, Condition.STANDSTILL, Condition.EDGE_LONG_LOOP) and not _faults(table, row) for row in rows):
            yield f"{name}: an edge read across an overlong loop is not approached again"
        if not any(_asks(table, row, Condition.STANDSTILL, Condition.CLEAR_RUN) and not _faults(table, row) for row in rows):
            yield f"{name}: a reading lost at standstill is not answered"
    stops = {row.to for row in table.rows if _way(table.phase(row.source)) < 0} - capturing_into
    for name in sorted(stop for stop in stops if table.phase(stop).role is Role.STOPPED):
        rows = _rows(table, table.phase(name))
        gone = [row for row in rows if _asks(table, row, Condition.STANDSTILL) and Condition.MADE in _kinds(table, row.unless)]
        made = [row for row in rows if _asks(table, row, Condition.STANDSTILL, Condition.MADE)]
        if not any(_way(table.phase(row.to)) > 0 for row in gone):
            yield f"{name}: a reading lost at standstill is not answered"
        if not any(_way(table.phase(row.to)) > 0 for row in made):
            yield f"{name}: standing on the sensor, it is not left"


def start_is_handled(table: Table) -> Iterator[str]:
    """From the start: on the sensor it leaves; off it and without a height, it first moves out."""
    start = table.phases[0]
    begins = [row for row in _rows(table, start) if _asks(table, row, Condition.START)]
    if not begins:
        yield "a start request is not answered"
    for row in table.rows:
        if row.source == start.name and not _asks(table, row, Condition.START):
            yield f"{row.source} -> {row.to}: begins without a request"
    for looking in {row.to for row in begins}:
        rows = _rows(table, table.phase(looking))
        if table.phase(looking).role is not Role.STOPPED:
            yield f"{looking}: begins by moving"
        if not any(_asks(table, r, Condition.MADE_RUN) and _way(table.phase(r.to)) > 0 for r in rows):
            yield f"{looking}: a start on the sensor is not handled"
        for row in rows:
            inwards = _way(table.phase(row.to)) < 0
            if inwards and not _asks(table, row, Condition.REFERENCED, Condition.CLEAR_RUN):
                yield f"{looking} -> {row.to}: comes in with its height unknown or the sensor made"
        off = [r for r in rows if _asks(table, r, Condition.CLEAR_RUN)]
        if not any(_way(table.phase(r.to)) > 0 for r in off):
            yield f"{looking}: off the sensor with its height unknown, it does not move out first"
        if not any(_way(table.phase(r.to)) < 0 for r in off):
            yield f"{looking}: with its height known, it does not come in"


def plausibility_is_checked(table: Table) -> Iterator[str]:
    """Made far above the trip zone is noticed; far below it and never made too."""
    for phase in table.phases:
        rows = _rows(table, phase)
        first_look = phase.role is Role.STOPPED and any(_asks(table, row, Condition.CLEAR_RUN, Condition.REFERENCED) for row in rows)
        approach = _way(phase) < 0 and not any(Effect.CAPTURE_EDGE in row.effects for row in rows)
        made_high = [row for row in rows if _asks(table, row, Condition.ABOVE) and _faults(table, row)]
        if (first_look or approach) and not made_high:
            yield f"{phase.name}: made far above the trip zone is not noticed"
        if approach and not any(_asks(table, row, Condition.BELOW) and _faults(table, row) for row in rows):
            yield f"{phase.name}: below the sensor and never made is not noticed"
        captures = any(Effect.CAPTURE_EDGE in row.effects for row in rows)
        bounded = [row for row in rows if _faults(table, row) and _asks(table, row, Condition.MOVED)]
        if captures and len(bounded) < 2:
            yield f"{phase.name}: an edge that is not found again is noticed by the travel guard only"


def guards_fault(table: Table) -> Iterator[str]:
    """A row with a reason leads to a fault; a row to a fault has a reason."""
    for row in table.rows:
        if row.guard != _faults(table, row):
            yield f"{row.source} -> {row.to}: a reason and a fault belong together ({row.why})"


def fast_approach_slows_down(table: Table) -> Iterator[str]:
    """Once the height is known, the fast approach ends in a slow zone."""
    inward = [phase for phase in table.phases if _way(phase) < 0]
    slow = _slow_phases(table)
    for phase in inward:
        if phase.name in slow:
            continue
        rows = _rows(table, phase)
        if not any(row.to in slow and _asks(table, row, Condition.REFERENCED, Condition.BELOW) for row in rows):
            yield f"{phase.name}: comes in fast all the way though the height is known"


def rows_are_alive(table: Table) -> Iterator[str]:
    """No row is shadowed by an earlier one of its phase that asks less."""
    for phase in table.phases:
        rows = _rows(table, phase)
        for i, row in enumerate(rows):
            for earlier in rows[:i]:
                if set(earlier.when) <= set(row.when) and set(earlier.unless) <= set(row.unless):
                    yield f"{row.source} -> {row.to}: never taken, {earlier.to} comes first ({row.why})"


def phases_are_reached(table: Table) -> Iterator[str]:
    """Every phase can be entered."""
    reached, grown = {table.phases[0].name}, True
    while grown:
        more = {row.to for row in table.rows if row.source in reached} - reached
        reached |= more
        grown = bool(more)
    for phase in table.phases:
        if phase.name not in reached:
            yield f"{phase.name} is never entered"


def _slow_phases(table: Table) -> set[str]:
    """Inward phases slower than the fastest one (all of them if they are alike)."""
    inward = {phase.name: -phase.command.value for phase in table.phases if _way(phase) < 0}
    fastest = max(inward.values(), default=0.0)
    slower = {name for name, speed in inward.items() if speed < fastest}
    return slower or set(inward)


CHECKS: tuple[Check, ...] = (
    ends_absorb,
    roles_match_commands,
    moving_phases_are_bounded,
    standing_phases_are_bounded,
    inward_phases_stop_on_first_made,
    outward_phases_leave,
    zero_needs_a_sound_edge,
    slow_approach_follows_release,
    kept_edges_are_compared,
    retries_are_bounded,
    unsound_situations_are_answered,
    start_is_handled,
    plausibility_is_checked,
    guards_fault,
    fast_approach_slows_down,
    rows_are_alive,
    phases_are_reached,
)
