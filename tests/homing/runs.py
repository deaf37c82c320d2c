"""Single runs under a test's control: the nominal lift, fields of its record set by hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from homing.kernel.codes import Fault
from homing.kernel.layout import RESULT_COLUMNS, new_scratch
from homing.kernel.loop import simulate_block
from homing.liftfile import Lift
from homing.results import Run
from homing.simulate import Batch, Setting, nominal_batch, prepare, traced

MM = 1e-3
#: Long before any run begins, and long after it is over [s].
FROM_START_S = 0.0


def made_with(setting: Setting, **fields: Any) -> Batch:
    """The nominal run of a setting, ready for the kernel, with some fields of its record set."""
    made = nominal_batch(setting)
    for name, value in fields.items():
        made.runs[name] = value
    return made


def run_with(study: Setting | Lift, **fields: Any) -> Run:
    """The nominal run with its trace; ``fields`` are those of ``kernel.layout.RUN``, in SI."""
    setting = study if isinstance(study, Setting) else prepare(study)
    return traced(setting, made_with(setting, **fields), None)


def run_faulted(
    study: Setting | Lift, fault: Fault, size: float = 0.0, onset_s: float = FROM_START_S, **fields: Any
) -> Run:
    """The nominal run with one fault in it."""
    chosen = {"fault": int(fault), "fault_size": size, "fault_onset_s": onset_s, "fault_span_m": 0.02}
    return run_with(study, **{**chosen, "fault_span_s": 0.3, "max_time_s": 20.0, **fields})


def columns_with(study: Setting | Lift, **fields: Any) -> dict[str, float]:
    """What the kernel itself hands over for such a run, SI, by the names of ``RESULT_COLUMNS``."""
    setting = study if isinstance(study, Setting) else prepare(study)
    made = made_with(setting, **fields)
    results = np.empty((1, len(RESULT_COLUMNS)))
    simulate_block(
        made.runs, made.sensor.signal, np.empty(0), setting.kernel_table(), setting.seed, made.indices,
        new_scratch(), results,
    )  # fmt: skip
    return dict(zip(RESULT_COLUMNS, results[0].tolist(), strict=True))


def phase_rows(run: Run, *phases: str) -> np.ndarray:
    """Rows of the trace in these phases."""
    return np.flatnonzero(np.isin(run.trace["state"], phases))


def readings(run: Run) -> np.ndarray:
    """What the controller was told, one a loop."""
    return run.trace["reading_bottom"]


def sensed(run: Run) -> np.ndarray:
    """What the sensor itself held, one a loop."""
    return run.trace["sensor_bottom"]
