"""What a controller is told, a Python object as one, and numbers that do not depend on the workers."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from homing import load_lift
from homing.bridge.controller import Program
from homing.bridge.player import ProgramPlayer
from homing.bridge.study import play_many
from homing.setting import Setting, prepare
from sensor_models.errors import InputError

LIFT_ROUTINE = Path(__file__).parents[2] / "examples" / "programs" / "lift_routine.py"
PLAIN = f'"{sys.executable}" "{LIFT_ROUTINE}"'


@pytest.fixture(scope="module")
def setting() -> Setting:
    return prepare(load_lift(None))


class Waiter:
    """Does nothing but stand, for ever."""

    def reset(self, seed: int) -> None:
        pass

    def step(self, message: dict[str, Any]) -> Mapping[str, Any]:
        return {"stop": "hold"}


class Quitter(Waiter):
    """Gives up at once."""

    def step(self, message: dict[str, Any]) -> Mapping[str, Any]:
        return {"stop": "open", "fault": "no wish to move"}


def test_a_python_object_is_asked_like_a_program(setting: Setting) -> None:
    run, alone = ProgramPlayer(setting, Program(Quitter)).nominal()
    assert run.outcome.word == "faulted"
    assert run.reason == "no wish to move"
    assert alone.outcome.tolist() == [run.outcome]


def test_a_controller_that_never_ends_is_unsafe(setting: Setting) -> None:
    run, _ = ProgramPlayer(setting, Program(Waiter)).nominal()
    assert run.outcome.word == "unsafe"


def test_an_object_without_step_is_refused(setting: Setting) -> None:
    with pytest.raises(InputError, match="must have the methods reset"):
        ProgramPlayer(setting, Program(dict)).nominal()  # type: ignore[arg-type]


def test_what_is_sent_is_what_the_contract_names(setting: Setting) -> None:
    heard: list[dict[str, Any]] = []

    class Listener(Waiter):
        def step(self, message: dict[str, Any]) -> Mapping[str, Any]:
            heard.append(message)
            return {"stop": "hold", "done": len(heard) > 30}

    ProgramPlayer(setting, Program(Listener)).nominal()
    assert set(heard[0]) == {"t_s", "start", "readings", "counts", "battery_v", "current_a"}
    assert heard[0]["readings"] == {"bottom": False}
    period_s = 1e-3 * setting.lift.controller.period_ms
    np.testing.assert_allclose(np.diff([each["t_s"] for each in heard]), period_s, atol=2e-6)
    # a press of the button is over after a while
    assert heard[0]["start"] is True
    assert heard[-1]["start"] is False


@pytest.mark.slow
def test_the_numbers_do_not_depend_on_the_workers(setting: Setting) -> None:
    indices = np.arange(130)  # three blocks
    one, two = (play_many(setting, Program(PLAIN), indices, workers=workers).rows for workers in (1, 2))
    np.testing.assert_array_equal(one, two)
