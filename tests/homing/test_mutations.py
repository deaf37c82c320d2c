"""Table mutations: every small mistake in the built-in table is caught, or it is known why it does no harm.

Each row is deleted, sent to every other phase, made the last of its phase, and stripped of each effect and
each condition. A mutant must be caught by a structural check or, failing that, by a requirement or a fault
run on the proving ground. What is left over must behave alike in every situation that can be.
"""

from __future__ import annotations

from typing import Any

import pytest
from mutants import Mutant, behaves_alike, caught_by_structure, mutants
from proving import Ground, grounds
from routines import bent, find, routine

from homing.routine import Table

#: Mutants that nothing catches, and why they do no harm.
SURVIVORS = {
    # Both this row and the one for the upper stop lead to the same approach, with no effect; which of them
    # answers when the lift has come far enough out in the very loop in which it is seen to stand is the same.
    "lifting -> coming_in when lifted_far_enough: made the last of its phase",
}

#: Mutants that pass all structural checks: sound in form, but a slow approach takes too long from up there.
LEFT_TO_REQUIREMENTS = {
    "checking -> coming_in when looked_long_enough and readings_agree_not_made and referenced"
    ": sent to easing_in",
    "lifting -> coming_in when lifted_far_enough: sent to easing_in",
    "lifting -> coming_in when not_moving: sent to easing_in",
}

VARIANTS = {
    "as shipped": {},
    "without a second look": {"recheck": False},
    "hard stop as sensor": {"stall_sensor": True},
}


def uncaught(table: Table) -> dict[str, Mutant]:
    """Mutants that pass all structural checks, by name."""
    return {mutant.name: mutant for mutant in mutants(table) if not caught_by_structure(mutant)}


def test_mutants_are_many_and_distinct() -> None:
    table = routine()
    made = list(mutants(table))
    assert len({mutant.name for mutant in made}) == len(made)
    assert all(mutant.table != table for mutant in made)
    # per row: deleted, sent to each other phase, and what it has of effects and conditions
    least = sum(len(table.phases) + len(row.effects) + len(row.when) + len(row.unless) for row in table.rows)
    assert least < len(made) < least + len(table.rows)
    assert {mutant.number for mutant in made} == set(range(len(table.rows)))


@pytest.mark.parametrize("changes", VARIANTS.values(), ids=VARIANTS.keys())
def test_structural_checks_leave_only_what_is_listed(changes: dict[str, Any]) -> None:
    assert set(uncaught(routine(**changes))) == SURVIVORS | LEFT_TO_REQUIREMENTS


@pytest.mark.parametrize("changes", VARIANTS.values(), ids=VARIANTS.keys())
def test_survivors_behave_alike_in_every_situation(changes: dict[str, Any]) -> None:
    table = routine(**changes)
    by_name = {mutant.name: mutant for mutant in mutants(table)}
    assert all(behaves_alike(table, by_name[name]) for name in SURVIVORS)
    assert not any(behaves_alike(table, by_name[name]) for name in LEFT_TO_REQUIREMENTS)


@pytest.fixture(scope="module")
def proving_ground() -> tuple[Ground, ...]:
    return grounds()


def told(ground: tuple[Ground, ...], name: str) -> str:
    """What tells on a mutant; empty if nothing does."""
    answers = (
        lift.tells(next(m for m in mutants(lift.setting.table) if m.name == name).table) for lift in ground
    )
    return next((answer for answer in answers if answer), "")


@pytest.mark.parametrize("name", sorted(LEFT_TO_REQUIREMENTS), ids=range(len(LEFT_TO_REQUIREMENTS)))
def test_requirements_catch_what_structure_leaves(proving_ground: tuple[Ground, ...], name: str) -> None:
    assert "time_to_zero_s" in told(proving_ground, name)


@pytest.mark.parametrize("name", sorted(SURVIVORS), ids=range(len(SURVIVORS)))
def test_survivors_still_survive(proving_ground: tuple[Ground, ...], name: str) -> None:
    assert told(proving_ground, name) == ""


def test_proving_ground_has_nothing_against_the_sound_table(proving_ground: tuple[Ground, ...]) -> None:
    assert [lift.tells(lift.setting.table) for lift in proving_ground] == [""] * len(proving_ground)
    assert {"overtravel_mm", "slack_mm", "time_to_zero_s", "zero_error_mm"} <= proving_ground[0].passes


def test_requirements_see_a_zero_that_was_never_set(proving_ground: tuple[Ground, ...]) -> None:
    table = proving_ground[0].setting.table
    at_once = bent(table, find(table, "waiting", "checking"), to="zeroed")
    assert "zero_error_mm" in proving_ground[0].tells(at_once)
