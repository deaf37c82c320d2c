"""Result rows of the kernel as metrics and outcomes of the contract: the one place that converts units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Ended
from homing.kernel.layout import RESULT_COLUMNS
from homing.lift import MM
from homing.results import METRICS, Outcome

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]


def metrics(results: Floats, lift: Lift) -> dict[str, Floats]:
    """Result rows (n, columns) in SI as the contract's metrics, (n,) each; NaN where not existing."""
    column = {name: results[:, i] for i, name in enumerate(RESULT_COLUMNS)}
    rigging = lift.drive.travel_per_line
    has_string, has_return = lift.string is not None, lift.string is not None and lift.string.return_string
    nothing = np.full(len(results), np.nan)
    found = {
        "time_to_zero_s": column["time_to_zero_s"],
        "trip_mm": column["trip_m"] / MM,
        "stop_distance_mm": column["stop_distance_m"] / MM,
        "overtravel_mm": column["overtravel_m"] / MM,
        "impact_speed_mm_s": column["impact_m_s"] / MM,
        "slack_mm": column["slack_m"] / MM / rigging if has_string else nothing,
        "return_slack_mm": column["return_slack_m"] / MM / rigging if has_return else nothing,
        "zero_error_mm": column["zero_error_m"] / MM,
        "false_triggers": column["false_triggers"],
        "accepted_false_triggers": column["accepted_false_triggers"],
        "missed_triggers": column["missed_triggers"],
        "peak_current_a": column["peak_current_a"],
    }
    assert tuple(found) == METRICS
    return found


def outcomes(results: Floats, lift: Lift) -> NDArray[np.int8]:
    """Outcome of each result row as the contract defines it, (n,)."""
    limits, found = lift.requirements, metrics(results, lift)
    unsafe = results[:, RESULT_COLUMNS.index("moving_at_end")] > 0.0
    for name in ("overtravel_mm", "slack_mm", "impact_speed_mm_s"):
        unsafe |= np.nan_to_num(found[name], nan=0.0) > getattr(limits, name)
    unsafe |= np.abs(np.nan_to_num(found["zero_error_mm"], nan=0.0)) > limits.zero_error_mm
    ended = results[:, RESULT_COLUMNS.index("ended")]
    unsafe |= ended == int(Ended.STILL_RUNNING)
    calm = np.where(ended == int(Ended.ZEROED), int(Outcome.ZEROED), int(Outcome.FAULTED))
    return np.where(unsafe, int(Outcome.UNSAFE), calm).astype(np.int8)
