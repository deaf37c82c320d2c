"""The table as a state machine: its one event, its model, its refusals."""

from __future__ import annotations

import pytest
from routines import TABLE
from transitions import MachineError

import homing.machine
from homing.kernel.codes import Effect, Reason
from homing.machine import TRIGGER, RoutineMachine, RoutineModel


def bits(*names: str) -> int:
    return sum(1 << TABLE.condition_index(name) for name in names)


def test_a_loop_without_a_fitting_row_stays() -> None:
    machine = RoutineMachine(TABLE)
    assert machine.step(0) == "waiting"
    assert machine.taken is None
    assert machine.effects == ()


def test_the_first_fitting_row_is_taken_and_told() -> None:
    machine = RoutineMachine(TABLE)
    assert machine.step(bits("start_requested")) == "checking"
    machine.place("coming_in")
    assert machine.step(bits("made", "wrong_way")) == "faulted"
    assert machine.taken is not None
    assert machine.taken.reason is Reason.WRONG_WAY
    machine.place("creeping")
    assert machine.step(bits("made")) == "settling"
    assert machine.effects == (Effect.CAPTURE_EDGE,)


def test_the_row_of_the_loop_before_is_forgotten() -> None:
    machine = RoutineMachine(TABLE)
    machine.step(bits("start_requested"))
    machine.step(0)
    assert machine.taken is None


@pytest.mark.parametrize("phase", ["zeroed", "faulted"])
def test_ends_stay_whatever_holds(phase: str) -> None:
    machine = RoutineMachine(TABLE)
    machine.place(phase)
    assert machine.step((1 << len(TABLE.conditions)) - 1) == phase
    assert machine.taken is None


def test_an_unknown_trigger_is_an_error() -> None:
    machine = RoutineMachine(TABLE)
    with pytest.raises(MachineError, match="unknown trigger 'tock'"):
        machine.fire("tock", 0)


def test_the_table_gives_the_machine_one_trigger_only() -> None:
    # no to_PHASE triggers, which would jump past the table
    assert RoutineMachine(TABLE).triggers == (TRIGGER,)
    assert not [name for name in dir(RoutineMachine(TABLE).model) if name.startswith("to_")]


def test_what_the_machine_binds_to_its_model_is_its_own() -> None:
    model = RoutineMachine(TABLE).model
    for name in (TRIGGER, f"may_{TRIGGER}", "trigger", *(f"is_phase_{p.name}" for p in TABLE.phases)):
        assert not hasattr(RoutineModel, name)
        assert callable(getattr(model, name))
    model.bits = bits("start_requested")
    assert model.tick()  # type: ignore[attr-defined]
    assert model.phase == "checking"


@pytest.mark.parametrize("name", ["holds", "bits", "taken"])
def test_a_trigger_that_an_attribute_would_shadow_is_refused(
    monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr(homing.machine, "TRIGGER", name)
    with pytest.raises(ValueError, match=f"attribute '{name}' must not bear the name"):
        RoutineMachine(TABLE)


def test_an_unknown_phase_cannot_be_entered() -> None:
    with pytest.raises(ValueError, match="crawling"):
        RoutineMachine(TABLE).place("crawling")
