"""Random tables, and random logs for them, as hypothesis strategies."""

from __future__ import annotations

from hypothesis import strategies as st

from homing.kernel.codes import Condition, Effect, Order, Reason
from homing.routine import Ask, Command, Phase, Role, Row, Table

#: Parameters from a few values, so that borders are met often.
PARAMETERS = st.sampled_from([0.0, 0.02, 0.04, 0.1, 1.0, 2.0, 3.0])
COMMANDS = st.sampled_from(
    [Command(Order.HOLD), Command(Order.SPEED, 0.1), Command(Order.SPEED, -0.1), Command(Order.DUTY, -0.2)]
)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Tables of up to five phases, eight conditions and twenty rows; sound or not."""
    roles, kinds = st.sampled_from(Role), st.sampled_from(Condition)
    phases = tuple(Phase(f"p{n}", draw(roles), draw(COMMANDS), "") for n in range(draw(st.integers(1, 5))))
    asks = tuple(Ask(f"c{n}", draw(kinds), draw(PARAMETERS)) for n in range(draw(st.integers(1, 8))))
    rows = draw(st.lists(rows_of([p.name for p in phases], [ask.name for ask in asks]), max_size=20))
    return Table(phases, asks, tuple(rows))


@st.composite
def rows_of(draw: st.DrawFn, phases: list[str], asks: list[str]) -> Row:
    """Rows between these phases; few conditions, so that several rows of a phase fit at once."""
    named = draw(st.lists(st.sampled_from(asks), unique=True, max_size=4))
    when = draw(st.integers(0, len(named)))
    return Row(
        draw(st.sampled_from(phases)),
        tuple(named[:when]),
        tuple(named[when:]),
        draw(st.sampled_from(phases)),
        tuple(draw(st.lists(st.sampled_from(Effect), unique=True, max_size=2))),
        draw(st.sampled_from(Reason)),
    )


#: One loop of a log: length [s], counts since the last loop, reading.
LOOPS = st.tuples(st.sampled_from([0.02, 0.021, 0.031, 0.1]), st.integers(-40, 40), st.integers(0, 1))
LOGS = st.lists(LOOPS, min_size=1, max_size=60)
