"""Our own routine, run as a program in lock step, ends every run as the kernel's table does."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

import numpy as np

from homing import Program, load_lift
from homing.bridge.study import play_many
from homing.ensemble import run_many
from homing.export import Form, exported_setting
from homing.faults import FaultPlan, run_numbers
from homing.kernel.layout import RESULT_COLUMNS
from homing.setting import prepare

SETTING = prepare(load_lift(None))
#: A program numbers its own reasons.
REASON = RESULT_COLUMNS.index("reason")
#: A phase that repeats the command of the last is a new order in the kernel and none in lock step; the solver
#: then begins its next step anew. What that alters, seen up to 2e-7 m and 1.2e-4 A, lies within these.
STEP_ROUNDING = {"peak_current_a": 1e-3}


def routine() -> Any:
    module = ModuleType("exported_routine")
    sys.modules[module.__name__] = module
    exec(exported_setting(SETTING, Form.PYTHON), module.__dict__)
    return module


class Exported:
    """The exported routine behind the interface of a program."""

    module = routine()

    def reset(self, seed: int) -> None:
        self.routine: Any = None

    def step(self, message: dict[str, Any]) -> dict[str, Any]:
        counts = message["counts"]
        if self.routine is None:
            self.routine = self.module.Routine(0.0, counts)
        out = self.routine.step(message["t_s"], message["readings"]["bottom"], counts, message["start"])
        speed = out.order.value == "speed"
        return {
            "command": out.command if speed else None,
            "stop": None if speed else out.order.value,
            "state": out.phase.text,
            "zero_at_counts": out.zero_counts if out.zero_known else None,
            "done": out.phase.role.value == "zeroed",
            "fault": out.reason.text or None,
        }


def test_drawn_runs_end_alike_to_the_last_bit() -> None:
    numbers = np.arange(100)
    inside, outside = run_many(SETTING, numbers), play_many(SETTING, Program(Exported), numbers)
    compared = np.arange(inside.shape[1]) != REASON
    np.testing.assert_array_equal(outside.rows[:, compared], inside[:, compared])
    assert (inside[:, RESULT_COLUMNS.index("time_to_zero_s")] > 0.0).mean() > 0.9


def test_runs_with_every_fault_end_alike() -> None:
    numbers = run_numbers(SETTING.lift, 2)
    inside = run_many(SETTING, numbers, faults=FaultPlan())
    played = play_many(SETTING, Program(Exported), numbers, faults=FaultPlan())
    for place, name in enumerate(RESULT_COLUMNS):
        if place != REASON:
            within = STEP_ROUNDING.get(name, 1e-6)
            np.testing.assert_allclose(
                played.rows[:, place], inside[:, place], rtol=0.0, atol=within, err_msg=name
            )
    told = [played.reasons.get(int(code), "") for code in played.rows[:, REASON]]
    assert told == [SETTING.table.reason_text(int(code)) for code in inside[:, REASON]]
    assert len(set(told)) > 5
