"""Both executors of a table take the same row: the compiled kernel and the state machine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from random_tables import LOGS, tables

from homing.builtin import builtin_table
from homing.kernel.codes import Condition
from homing.kernel.layout import MEMORY, RUN, scratch
from homing.kernel.observe import apply_effects, choose_row, enter, observe, take_note
from homing.liftfile import load_lift
from homing.machine import RoutineMachine
from homing.routine import Row, Table, compile_table
from homing.setting import prepare
from homing.settings import routine_settings
from homing.simulate import simulate
from homing.structure.situations import situations

BUILT_IN = {
    "as shipped": {},
    "without a second look": {"recheck": False},
    "hard stop as sensor": {"stall_sensor": True},
}


def built_in(**changes: Any) -> Table:
    settings = routine_settings(load_lift(None), (0.025, 0.035), 0.03, stall_sensor=False)
    return builtin_table(replace(settings, **changes))


def in_kernel_order(table: Table) -> list[Row]:
    """Rows as the kernel numbers them: by phase, then in the table's order."""
    return [row for phase in table.phases for row in table.rows_of(phase.name)]


def all_sets(bits: list[int]) -> Iterator[int]:
    for number in range(1 << len(bits)):
        yield sum(bit for i, bit in enumerate(bits) if (number >> i) & 1)


def assert_same_row(table: Table, machine: RoutineMachine, phase: str, bits: int) -> None:
    compiled = compile_table(table)
    number = table.phase_index(phase)
    chosen = choose_row(compiled.rows, compiled.first_row, number, bits)
    machine.place(phase)
    after = machine.step(bits)
    if chosen < 0:
        assert (machine.taken, after) == (None, phase)
        return
    row = in_kernel_order(table)[chosen]
    assert machine.taken is row
    assert after == table.phases[compiled.rows[chosen, 3]].name
    assert sum(machine.effects) == compiled.rows[chosen, 4]
    assert table.reason_code(row) == compiled.rows[chosen, 5]


@pytest.mark.parametrize("changes", BUILT_IN.values(), ids=BUILT_IN.keys())
def test_executors_agree_in_every_phase_on_every_set_of_bits(changes: dict[str, Any]) -> None:
    table = built_in(**changes)
    compiled, machine, rows = compile_table(table), RoutineMachine(table), in_kernel_order(table)
    everything = (1 << len(table.conditions)) - 1
    for number, phase in enumerate(table.phases):
        needs = int(compiled.phase_needs[number])
        asked = [1 << i for i in range(len(table.conditions)) if (needs >> i) & 1]
        assert len(asked) <= 12
        for bits in all_sets(asked):
            chosen = choose_row(compiled.rows, compiled.first_row, number, bits)
            machine.place(phase.name)
            after = machine.step(bits)
            assert machine.taken is (rows[chosen] if chosen >= 0 else None)
            assert after == (rows[chosen].to if chosen >= 0 else phase.name)
            # what the phase does not ask for does not matter
            others = bits | (everything & ~needs)
            assert choose_row(compiled.rows, compiled.first_row, number, others) == chosen


@given(table=tables(), data=st.data())
def test_executors_agree_on_random_tables(table: Table, data: st.DataObject) -> None:
    machine = RoutineMachine(table)
    for phase in table.phases:
        bits = data.draw(st.integers(0, (1 << len(table.conditions)) - 1))
        assert_same_row(table, machine, phase.name, bits)


@pytest.mark.parametrize("changes", BUILT_IN.values(), ids=BUILT_IN.keys())
@given(log=LOGS)
def test_executors_walk_alike_through_a_random_log(changes: dict[str, Any], log: list[Any]) -> None:
    walk_alike(built_in(**changes), log)


@given(table=tables(), log=LOGS)
def test_executors_walk_alike_on_random_tables(table: Table, log: list[Any]) -> None:
    walk_alike(table, log)


def walk_alike(table: Table, log: list[Any]) -> None:
    """Feed a log to the routine's memory; kernel and machine must agree in every loop."""
    compiled, machine = compile_table(table), RoutineMachine(table)
    run, memory = new_desk()
    time_s, counts = 0.0, 0
    for length_s, moved, made in log:
        time_s, counts = time_s + length_s, counts + moved
        take_note(run, memory, time_s, counts, made)
        number = int(memory.phase)
        bits = observe(run, memory, compiled.phase_needs[number], compiled.kinds, compiled.parameters)
        chosen = choose_row(compiled.rows, compiled.first_row, number, bits)
        assert machine.step(bits) == table.phases[compiled.rows[chosen, 3] if chosen >= 0 else number].name
        if chosen >= 0:
            apply_effects(memory, compiled.rows[chosen, 4])
            to = int(compiled.rows[chosen, 3])
            enter(memory, to, table.phases[to].command.way)


def new_desk() -> tuple[Any, Any]:
    run, memory = scratch(RUN)[0], scratch(MEMORY)[0]
    run.counts_per_m, run.period_s, run.reference_m = 1000.0, 0.02, 0.03
    memory.tick_s = memory.previous_tick_s = -1.0
    memory.start_requested = 1
    return run, memory


@given(
    table=tables(), log=LOGS, referenced=st.booleans(), zero=st.integers(-50, 50), number=st.integers(0, 4)
)
def test_every_situation_that_occurs_is_listed(
    table: Table, log: list[Any], referenced: bool, zero: int, number: int
) -> None:
    """The situations over which the structural checks run leave out nothing that a run can meet."""
    phase = table.phases[number % len(table.phases)]
    compiled, listed = compile_table(table), situations(table, phase)
    columns = [table.condition_index(ask.name) for ask in listed.asks]
    run, memory = new_desk()
    memory.has_zero, memory.zero_counts = int(referenced), float(zero)
    enter(memory, 0, phase.command.way)
    memory.entered_s = memory.still_since_s = 0.0
    time_s, counts = 0.0, 0
    for length_s, moved, made in log:
        time_s, counts = time_s + length_s, counts + moved
        take_note(run, memory, time_s, counts, made)
        bits = observe(run, memory, (1 << len(table.conditions)) - 1, compiled.kinds, compiled.parameters)
        now = np.array([(bits >> column) & 1 for column in columns], dtype=bool)
        where = (listed.holds == now).all(axis=1)
        assert where.sum() == 1
        chosen = choose_row(compiled.rows, compiled.first_row, table.phase_index(phase.name), bits)
        first = compiled.first_row[table.phase_index(phase.name)]
        assert listed.taken[where][0] == (chosen - first if chosen >= 0 else -1)


@pytest.mark.parametrize("run", [None, 1, 2, 3])
def test_phases_of_a_simulated_run_follow_the_table(run: int | None) -> None:
    setting = prepare(load_lift(None))
    states = simulate(setting.lift, run=run, setting=setting).trace["state"]
    ways = {(row.source, row.to) for row in setting.table.rows}
    changes = [(str(a), str(b)) for a, b in pairwise(states) if a != b]
    assert changes[0] == ("waiting", "checking")
    assert set(changes) <= ways


def test_every_kind_of_condition_can_hold() -> None:
    """No kind is forgotten by ``observe``, which would answer that it does not hold."""
    held = set()
    run, memory = new_desk()
    for way in (1, -1, 0):
        enter(memory, 0, way)
        for counts, made in [(0, 0), (0, 0), (0, 0), (500, 1), (500, 1), (900, 0), (-400, 0), (-900, 0)]:
            take_note(run, memory, float(memory.tick_s) + 0.1, counts, made)
            memory.has_zero, memory.edge_long, memory.retries = 1, 1, 1
            kinds = np.array(list(Condition), dtype=np.int64)
            bits = observe(run, memory, (1 << len(kinds)) - 1, kinds, np.full(len(kinds), 0.001))
            held |= {kind for kind in Condition if (bits >> list(Condition).index(kind)) & 1}
    assert held == set(Condition)
