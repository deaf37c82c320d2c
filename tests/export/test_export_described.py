"""The readable table and the JSON: every setting with unit and origin, the whole routine, the cautions."""

from __future__ import annotations

import json

import pytest
from export_lifts import lifts, settings

from homing.builtin import builtin_table
from homing.export import Form, exported, exported_setting
from homing.export.builtin_origins import ASKS, COMMANDS, ask_note, command_note
from homing.export.described import json_document, table_text
from homing.export.meanings import CONDITION_MEANS, EFFECT_WORD, has_number, measure_of
from homing.export.neutral import CONDITIONS, EFFECTS
from homing.export.origins import Origin, unit_of
from homing.export.origins import settings as quantities
from homing.export.program import program
from homing.kernel.codes import Condition, Effect, Order
from homing.liftfile import load_lift
from homing.liftmodels import RoutineTable
from homing.settings import routine_settings

NAMES = tuple(settings())
FIRST_RUN = (
    "low power",
    "short travel",
    "soft block",
    "hands",
    "never certifies",
    "hard stops must hold on their own",
)


def test_every_condition_and_effect_of_the_closed_set_has_a_neutral_text() -> None:
    assert set(CONDITIONS) == set(CONDITION_MEANS) == set(Condition)
    assert set(EFFECTS) | {Effect.KEEP_CLOCKS} == set(EFFECT_WORD) == set(Effect)


@pytest.mark.parametrize("kind", list(Condition))
def test_a_condition_with_a_number_uses_it_and_only_such(kind: Condition) -> None:
    import ast

    used = {node.id for node in ast.walk(ast.parse(CONDITIONS[kind])) if isinstance(node, ast.Name)}
    assert ("a" in used) is has_number(kind)
    assert measure_of(kind).scale in (1.0, 1e-3)


@pytest.mark.parametrize("changes", [{}, {"recheck": False}, {"stall_sensor": True}])
def test_every_number_of_the_built_in_routine_has_an_origin(changes: dict[str, bool]) -> None:
    from dataclasses import replace

    made = replace(routine_settings(load_lift(), (0.025, 0.035), 0.03, False), **changes)
    table = builtin_table(made)
    with_numbers = {ask.name for ask in table.conditions if has_number(ask.kind)}
    moving = {phase.name for phase in table.phases if phase.command.order in (Order.SPEED, Order.DUTY)}
    assert with_numbers == set(ASKS)
    assert moving <= set(COMMANDS)


def test_origins_follow_the_lift_file() -> None:
    lift = load_lift()
    assert ask_note(lift, "clear_by_margin").origin is Origin.GIVEN
    assert ask_note(lift, "retries_used").origin is Origin.ASSUMED
    assert ask_note(lift, "crept_too_far").origin is Origin.WORKED_OUT
    assert ask_note(lift, "wrong_way").origin is Origin.BUILT_IN
    given = lift.replace({"routine.retries": 1})
    assert ask_note(given, "retries_used").origin is Origin.GIVEN
    assert command_note(given, "coming_in").words.startswith("routine.fast_speed_mm_s, given")
    own = lifts()["own"]
    assert ask_note(own, "retries_used").words == "given in the lift file, in the routine's own table"


@pytest.mark.parametrize("name", NAMES)
def test_every_setting_has_unit_and_origin(name: str) -> None:
    setting = settings()[name]
    listed = {each.key: each for each in quantities(setting)}
    assumed = {each.key for each in setting.lift.assumed}
    for key, each in listed.items():
        assert each.source
        assert isinstance(each.value, bool | int | float | str), key
        assert (each.origin is Origin.GIVEN) is (each.source.startswith("given in")), key
        if key in assumed and each.origin is not Origin.WORKED_OUT:
            assert each.origin in (Origin.ASSUMED, Origin.PART), key
        if not isinstance(each.value, bool | str) and "." in key:
            assert each.unit or key.endswith(
                ("_ratio", "_line", "_rev", "_readings", "retries", "duty", "_used", "_times")
            ), key
    if setting.lift.own_routine is None:
        assert {f"routine.{key}" for key in RoutineTable.model_fields} <= set(listed)
    assert "counts_per_mm" in listed


def test_units_are_the_end_of_a_key() -> None:
    assert unit_of("routine.fast_speed_mm_s") == "mm/s"
    assert unit_of("drive.deceleration_mm_s2") == "mm/s2"
    assert unit_of("routine.timeout_s") == "s"
    assert unit_of("routine.settle_ms") == "ms"
    assert unit_of("routine.retries") == ""


@pytest.mark.parametrize("name", NAMES)
def test_the_table_tells_the_whole_routine(name: str) -> None:
    setting = settings()[name]
    text = table_text(setting)
    flat = " ".join(text.split())
    for phase in setting.table.phases:
        assert f"\n\n{phase.name.replace('_', ' ')} ({phase.role.value}; " in text
    for number, row in enumerate(setting.table.rows, 1):
        assert f"{number} -> {row.to.replace('_', ' ')}: when" in flat
    for each in quantities(setting):
        assert each.key in text
    for words in FIRST_RUN:
        assert words in flat
    assert max(map(len, text.splitlines())) <= 110


@pytest.mark.parametrize("name", NAMES)
def test_the_json_holds_the_same(name: str) -> None:
    setting = settings()[name]
    document = json.loads(exported_setting(setting, Form.JSON))
    assert document == json_document(setting)
    routine = document["routine"]
    table = setting.table
    assert [phase["name"] for phase in routine["phase"]] == [phase.name for phase in table.phases]
    assert [(row["from"], row["to"]) for row in routine["row"]] == [
        (row.source, row.to) for row in table.rows
    ]
    for ask, told in zip(table.conditions, routine["condition"], strict=True):
        assert told["name"] == ask.name
        if has_number(ask.kind):
            assert told["value"] * measure_of(ask.kind).scale == pytest.approx(ask.a, rel=1e-11)
            assert told["source"]
    for phase, told in zip(program(setting).phases, routine["phase"], strict=True):
        assert next(iter(told["sent"].values())) in (phase.command, phase.order.name.lower())
    assert document["cautions"]


def test_a_duty_lift_says_which_duty_stands_for_a_speed() -> None:
    phases = {phase["name"]: phase for phase in json_document(settings()["duty"])["routine"]["phase"]}
    assert phases["coming_in"]["command"] == {"speed_mm_s": -180.0}
    assert set(phases["coming_in"]["sent"]) == {"duty"}
    assert "sent as duty" in table_text(settings()["duty"])


def test_a_lift_without_a_sensor_is_told_its_current_limit() -> None:
    text = " ".join(table_text(settings()["stall"]).split())
    assert "the current of each motor must be limited to" in text
    assert "pacemakers" not in text
    assert "pacemakers" in table_text(settings()["example"])


@pytest.mark.parametrize("form", [Form.JAVA, Form.CPP, Form.PYTHON])
@pytest.mark.parametrize("name", NAMES)
def test_programs_carry_origins_and_cautions(name: str, form: Form) -> None:
    setting = settings()[name]
    text = exported_setting(setting, form)
    flat = " ".join(text.replace("//", " ").replace("#", " ").split())
    for words in FIRST_RUN:
        assert words in flat
    for constant in program(setting).constants:
        assert constant.literal in text
        assert constant.comment.startswith("[")
        assert len(constant.comment.split("] ", 1)[1]) > 5
    assert text.isascii()
    assert text.endswith("\n")
    assert not any(line != line.rstrip() for line in text.splitlines())


def test_the_same_lift_gives_the_same_text() -> None:
    assert exported(load_lift(), Form.CPP) == exported(load_lift(), Form.CPP)
