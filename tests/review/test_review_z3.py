"""Exploration against an SMT solver: on small random tables every phase is first met in the same loop."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from small_routines import setting_of, sound

from homing.kernel.codes import Condition, Effect, Order
from homing.review.cells import abstract
from homing.review.physics import Broken
from homing.review.search import Walk
from homing.review.states import State
from homing.routine import Ask, Command, Phase, Role, Row, Table

pytest.importorskip("z3")

from z3_lift import Unrolled

SPEED_M_S = 0.06
MOST_STEPS = 9
#: The timer is longer than any standstill asked and than any stop, so that neither implies the other.
ASKS = (
    Ask("start_requested", Condition.START),
    Ask("made", Condition.MADE),
    Ask("made_twice", Condition.MADE_RUN, 2.0),
    Ask("not_made", Condition.CLEAR_RUN, 1.0),
    Ask("not_made_twice", Condition.CLEAR_RUN, 2.0),
    Ask("just_made", Condition.JUST_MADE),
    Ask("just_released", Condition.JUST_RELEASED),
    Ask("referenced", Condition.REFERENCED),
    Ask("time_over", Condition.TIMER_OVER, 1000.0),
    Ask("standstill", Condition.STANDSTILL, 0.1),
)


def random_small_table(seed: int) -> Table:
    """Six phases, each with up to three rows of up to two conditions."""
    draw = random.Random(seed)
    commands = [Command(Order.HOLD), Command(Order.SPEED, -SPEED_M_S), Command(Order.SPEED, SPEED_M_S)]
    phases = [Phase("p0", Role.START, commands[0], "")]
    for number in range(1, 6):
        command = draw.choice(commands)
        role = Role.MOVING if command.way else Role.STOPPED
        phases.append(Phase(f"p{number}", role, command, ""))
    rows = [Row("p0", ("start_requested",), (), "p1")]
    names = [ask.name for ask in ASKS]
    for number, phase in enumerate(phases[1:5], start=1):
        for _ in range(draw.randint(1, 3)):
            when = tuple(draw.sample(names, draw.randint(1, 2)))
            unless = tuple(name for name in draw.sample(names, draw.randint(0, 1)) if name not in when)
            effects = (Effect.ZERO_HERE,) if draw.random() < 0.3 else ()
            to = draw.choice(phases[1 : number + 2]).name  # a long way to the last phase
            rows.append(Row(phase.name, when, unless, to, effects))
    return Table(tuple(phases), ASKS, tuple(rows))


def depths(walk: Walk) -> dict[str, int]:
    """Loop in which each phase is first met."""
    depth: dict[State, int] = {}
    first: dict[str, int] = {}
    for state in walk.found():
        loop = walk.loop_to(state)
        depth[state] = 0 if loop is None else depth[loop.before] + 1
        first.setdefault(walk.table.phases[state.phase].name, depth[state])
    return first


@pytest.mark.parametrize("broken", [Broken.NOTHING, Broken.CHATTER])
@pytest.mark.parametrize("seed", range(12))
def test_phases_are_first_met_where_the_solver_meets_them(seed: int, broken: Broken) -> None:
    setting = setting_of(sound())
    table = random_small_table(seed)
    lift = abstract(replace(setting.with_table(table)))
    walk = Walk(table, lift, broken, 100_000)
    walk.go()
    assert walk.complete
    met = {name: depth for name, depth in depths(walk).items() if depth <= MOST_STEPS}
    unrolled = Unrolled(table, lift, SPEED_M_S, broken is Broken.CHATTER)
    solved = {phase.name: unrolled.first_met(phase.name, MOST_STEPS) for phase in table.phases}
    assert met == {name: step for name, step in solved.items() if step is not None}


def test_random_tables_are_worth_comparing() -> None:
    """Some phases are met late, some never."""
    setting = setting_of(sound())
    late, never = 0, 0
    for seed in range(12):
        table = random_small_table(seed)
        walk = Walk(table, abstract(setting.with_table(table)), Broken.NOTHING, 100_000)
        walk.go()
        first = depths(walk)
        late = max(late, *first.values())
        never += len(table.phases) - len(first)
    assert late >= 5
    assert never >= 1
