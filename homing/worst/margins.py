"""How far each run is from failing each requirement, as a share of the limit, with a slope everywhere.

The margin is (limit - value) / limit, so a run fails exactly where it is negative. A search needs to be told
which of two runs is nearer to failing, also where the metric is missing or rests on its floor. There it is
graded, always on the side on which ``requirements.failing`` puts the run:

- *never zeroed*, where that fails: at most -1, and lower the longer it tried;
- *metric missing*, where that does not fail: above 1, the farthest away there is, and lower for a longer run;
- *limit 0* and kept: between 1/2 and 1, since nobody knows how near it was; lower with false triggers that
were
  not accepted, or for a longer run;
- *impact and slack of 0*: above 1, by the height that was left under the deepest point, in shares of the
travel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.ensemble import converted
from homing.kernel.layout import RESULT_COLUMNS
from homing.lift import MM
from homing.requirements import Requirement, limit_of, requirements_for, values_of

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import Ensemble
    from homing.setting import Setting

Floats = NDArray[np.float64]

#: Requirements that still have a meaning with a fault: faulted in time is how such a run should end.
WITH_FAULT = ("overtravel_mm", "impact_speed_mm_s", "slack_mm", "zero_error_mm", "moving_at_end")
#: Metrics that rest at 0 until the carriage touches its stop.
FLOORED = ("impact_speed_mm_s", "slack_mm")


def searched(lift: Lift, *, with_fault: bool) -> tuple[Requirement, ...]:
    """The requirements whose margin is searched."""
    return tuple(r for r in requirements_for(lift) if not with_fault or r.name in WITH_FAULT)


def margins(setting: Setting, rows: Floats, requirements: tuple[Requirement, ...]) -> Floats:
    """Signed margins of result rows (n, columns), (n, requirements); negative where the run fails."""
    ensemble = converted(setting, rows, np.zeros(len(rows), dtype=np.int8), {})
    return np.stack([_margin(setting.lift, each, ensemble, rows) for each in requirements], axis=1)


def _margin(lift: Lift, requirement: Requirement, ensemble: Ensemble, rows: Floats) -> Floats:
    values, limit = values_of(requirement, ensemble), limit_of(lift, requirement)
    scale = limit if limit > 0.0 else 1.0
    found = (limit - values) / scale
    lasted_s = _column(rows, "end_s")
    missing = np.isnan(values)
    if requirement.missing_fails:
        found = np.where(missing, np.minimum((limit - lasted_s) / scale, 0.0) - 1.0, found)
    else:
        found = np.where(missing, 1.0 + 1.0 / (1.0 + lasted_s), found)
    if limit <= 0.0:
        near = ensemble.metrics["false_triggers"] if "false" in requirement.name else lasted_s
        found = np.where(~missing & (values <= 0.0), 0.5 + 0.5 / (1.0 + near), found)
    if requirement.name in FLOORED:
        found = np.where(values == 0.0, np.maximum(found, 0.0) + _room(lift, rows), found)
    return np.asarray(found, dtype=np.float64)


def _room(lift: Lift, rows: Floats) -> Floats:
    """Height left under the deepest point of the longest stop, as a share of the travel."""
    left_m = _column(rows, "trip_m") - _column(rows, "stop_distance_m")
    share = np.clip(left_m / (lift.lift.travel_mm * MM), 0.0, 1.0)
    return np.where(np.isnan(share), 1.0, share)


def _column(rows: Floats, name: str) -> Floats:
    return rows[:, RESULT_COLUMNS.index(name)]
