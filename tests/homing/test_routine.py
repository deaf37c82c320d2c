"""The table itself: what it refuses, how it is asked, and its integer form."""

from __future__ import annotations

import pickle
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from routines import TABLE, bent, find, routine

from homing.kernel.codes import Condition, Effect, Order, Reason
from homing.kernel.controller import way_of
from homing.routine import Ask, Command, Phase, Role, Row, Table, compile_table, spoken

STAND = Command(Order.HOLD)
WAITING = Phase("waiting", Role.START, STAND, "")
GOING = Phase("going", Role.MOVING, Command(Order.SPEED, -0.1), "")
MADE = Ask("made", Condition.MADE)
LATE = Ask("late", Condition.TIMER_OVER, 1.0)


def table(**changes: Any) -> Table:
    parts = {"phases": (WAITING, GOING), "conditions": (MADE, LATE), "rows": ()}
    return Table(**(parts | changes))


def row(**changes: Any) -> Row:
    parts = {"source": "waiting", "when": ("made",), "unless": ("late",), "to": "going"}
    return Row(**(parts | changes))


def test_a_sound_table_is_taken() -> None:
    assert table(rows=(row(),)).rows_of("waiting") == (row(),)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"phases": ()}, "a table must have at least one phase"),
        ({"phases": (WAITING, WAITING)}, "phase 'waiting' is declared twice"),
        ({"conditions": (MADE, MADE)}, "condition 'made' is declared twice"),
        (
            {"conditions": (Ask("late", Condition.TIMER_OVER, float("nan")),)},
            "condition 'late' must have a finite number as parameter; got nan",
        ),
        (
            {"conditions": (Ask("late", Condition.TIMER_OVER, True),)},
            "condition 'late' must have a finite number as parameter; got True",
        ),
        (
            {"conditions": tuple(Ask(f"c{n}", Condition.MADE) for n in range(63))},
            "a table may ask at most 62 conditions; got 63",
        ),
        (
            {"rows": (row(), row(to="goign"))},
            r"row 2 \(waiting -> goign\): unknown phase 'goign'; did you mean 'going'\?",
        ),
        ({"rows": (row(source="zzz"),)}, r"row 1 \(zzz -> going\): unknown phase 'zzz'$"),
        ({"rows": (row(when=("mad",)),)}, "unknown condition 'mad'; did you mean 'made'"),
        ({"rows": (row(unless=("lat",)),)}, "unknown condition 'lat'; did you mean 'late'"),
        ({"rows": (row(unless=("made",)),)}, "condition 'made' is named twice"),
        ({"rows": (row(when=("made", "made")),)}, "condition 'made' is named twice"),
        ({"rows": (row(effects=(Effect.SET_ZERO, Effect.SET_ZERO)),)}, "effect SET_ZERO is named twice"),
    ],
)
def test_what_cannot_be_run_is_refused_in_one_sentence(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message) as refusal:
        table(**changes)
    assert "\n" not in str(refusal.value)


def test_a_misspelt_condition_of_the_built_in_table_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown condition 'standstil'; did you mean 'standstill'"):
        bent(TABLE, find(TABLE, "stopping", "lifting"), when=("standstil",))


@pytest.mark.parametrize(
    ("order", "value", "message"),
    [
        (Order.SPEED, float("inf"), "must be a finite number; got inf"),
        (Order.SPEED, True, "must be a finite number; got True"),
        (Order.HOLD, 0.1, "a stop takes no value; got HOLD with 0.1"),
        (Order.OPEN, -1.0, "a stop takes no value; got OPEN with -1"),
        (Order.DUTY, 1.01, "a duty must lie within -1 to 1; got 1.01"),
    ],
)
def test_a_command_that_contradicts_itself_is_refused(order: Order, value: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Command(order, value)


@pytest.mark.parametrize("order", list(Order))
@pytest.mark.parametrize("value", [-0.5, 0.0, 0.5])
def test_table_and_kernel_agree_on_the_way_of_a_command(order: Order, value: float) -> None:
    if order in (Order.SPEED, Order.DUTY) or value == 0.0:
        assert Command(order, value).way == way_of(int(order), value)


def test_a_table_is_asked_by_name() -> None:
    assert TABLE.phase("creeping").name == "creeping"
    assert TABLE.phases[TABLE.phase_index("creeping")].name == "creeping"
    assert TABLE.condition("standstill").kind is Condition.STANDSTILL
    with pytest.raises(KeyError):
        TABLE.phase("crawling")


def test_other_rows_keep_the_rest() -> None:
    stall = routine(stall_sensor=True)
    assert stall.with_rows(()) == replace(stall, rows=())
    assert stall.with_rows(()).told_by_standing


def test_without_guards_every_row_with_a_reason_is_gone() -> None:
    bare = TABLE.without_guards()
    assert len(bare.rows) == sum(row.reason is Reason.NONE for row in TABLE.rows)
    assert not any(row.guard for row in bare.rows)


def test_tables_can_be_sent_to_other_processes() -> None:
    TABLE.phase_index("creeping")
    assert pickle.loads(pickle.dumps(TABLE)) == TABLE


def test_integer_form_of_a_small_table() -> None:
    given = table(
        rows=(
            row(source="going", when=("late",), unless=("made",), to="waiting", reason=Reason.TIME_OUT),
            row(effects=(Effect.CAPTURE_EDGE, Effect.COUNT_RETRY)),
        )
    )
    made = compile_table(given)
    # source, must hold, must not hold, destination, effects, reason, asks for made; sorted by source
    assert made.rows.tolist() == [
        [0, 0b01, 0b10, 1, 1 | 8, 0, 1],
        [1, 0b10, 0b01, 0, 0, int(Reason.TIME_OUT), 0],
    ]
    assert made.first_row.tolist() == [0, 1, 2]
    assert made.phase_needs.tolist() == [0b11, 0b11]
    assert made.phase_order.tolist() == [int(Order.HOLD), int(Order.SPEED)]
    assert made.phase_value.tolist() == [0.0, -0.1]
    assert made.phase_role.tolist() == [0, 1]
    assert made.kinds.tolist() == [int(Condition.MADE), int(Condition.TIMER_OVER)]
    assert made.parameters.tolist() == [0.0, 1.0]


def test_integer_form_of_a_table_without_rows() -> None:
    made = compile_table(table())
    assert made.rows.shape == (0, 7)
    assert made.first_row.tolist() == [0, 0, 0]


def test_integer_form_is_what_kernels_take() -> None:
    for array in compile_table(TABLE).arrays():
        assert array.flags.c_contiguous
        assert array.dtype in (np.dtype(np.int64), np.dtype(np.float64))


def test_names_are_spoken_with_their_numbers() -> None:
    assert spoken("in_phase_0p1_s") == "in phase 0.1 s"
    assert spoken("above_minus_0p5_mm") == "above -0.5 mm"
    assert spoken("past_travel_guard") == "past travel guard"
