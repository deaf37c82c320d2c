"""An exported program in charge of the simulated lift ends every run as the built-in executor does."""

from __future__ import annotations

import numpy as np
import pytest
from export_closed_loop import closed_loop
from export_harness import Driven
from export_lifts import settings

from homing.batches import Batch, batch, nominal_batch
from homing.export.program import program
from homing.faults import FaultPlan, run_numbers
from homing.kernel.layout import MAX_STOPS, RESULT_COLUMNS, STOP_COLUMNS, TRACE_COLUMNS, new_scratch
from homing.kernel.loop import simulate_run
from homing.setting import Setting

NAMES = tuple(settings())
#: Only the kernel's own taking of a row tells which reading was accepted.
NOT_KNOWN_OUTSIDE = ("accepted_false_triggers", "trace_rows", "reason")


def inside(setting: Setting, made: Batch) -> np.ndarray:
    """The same run with the kernel's executor."""
    result = np.empty(len(RESULT_COLUMNS))
    simulate_run(
        made.runs[0], tuple(records[0] for records in new_scratch()), made.sensor.signal[0], np.empty(0),
        setting.kernel_table(), setting.seed, int(made.indices[0]), np.zeros((MAX_STOPS, STOP_COLUMNS)),
        np.zeros((0, len(TRACE_COLUMNS))), result,
    )  # fmt: skip
    return result


def runs(setting: Setting) -> list[Batch]:
    """The nominal run, drawn ones, and runs with faults."""
    faulty = run_numbers(setting.lift, 1)
    drawn = [batch(setting, np.array([k])) for k in range(4)]
    return [
        nominal_batch(setting),
        *drawn,
        *(batch(setting, faulty[k : k + 1], FaultPlan()) for k in (0, 5, 9)),
    ]


@pytest.mark.parametrize("name", ["example", "horizontal", "duty", "stall", "own"])
def test_a_program_in_charge_of_the_lift_ends_as_the_kernel_does(of_lifts: Driven, name: str) -> None:
    setting = settings()[name]
    compared = [RESULT_COLUMNS.index(each) for each in RESULT_COLUMNS if each not in NOT_KNOWN_OUTSIDE]
    codes = {0: 0} | {code: number for number, code in enumerate(_reached(setting), start=1)}
    assert len(codes) == len(program(setting).reasons)
    reason = RESULT_COLUMNS.index("reason")
    zeroed = 0
    for made in runs(setting):
        expected = inside(setting, made)
        given, phases = closed_loop(setting, made, of_lifts, NAMES.index(name))
        np.testing.assert_array_equal(given[compared], expected[compared])
        assert given[reason] == codes[int(expected[reason])]
        zeroed += expected[0] == 1.0
        assert phases[0] == setting.table.phases[0].name
    assert zeroed >= 3


def _reached(setting: Setting) -> list[int]:
    table = setting.table
    faulted = {phase.name for phase in table.phases if phase.role.value == "faulted"}
    codes = dict.fromkeys(table.reason_code(row) for row in table.rows if row.to in faulted)
    return [code for code in codes if code != 0]
