"""What all questions about a sensor's mounting share: its changed lifts, and the few runs that tell most."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.compare.candidates import moved
from homing.compare.judged import Judged, Means, confirm, most_failures, try_runs
from homing.compare.responses import Responses
from homing.compare.seen import Loops
from homing.lift import MM
from homing.requirements import limit_of, requirements_for, values_of
from sensor_models.errors import InputError
from sensor_models.kinds import Approach

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Known

Indices = NDArray[np.int64]

#: Telling runs: the nearest to each requirement's limit and to the stop, and as many that are any runs.
NEAREST_RUNS, ANY_RUNS = 12, 32
#: More failures than this among the latter show a rate over 1 % (at 0.6 % it happens once in 60).
MOST_OF_ANY = 1
#: Heights are told to this [mm].
HEIGHT_STEP_MM = 0.5


@dataclass(frozen=True)
class Study:
    """What all questions about one sensor's mounting share."""

    lift: Lift
    runs: int
    means: Means
    responses: Responses
    loops: Loops

    @property
    def mount_key(self) -> str:
        return f"sensor.{self.lift.sensor().name}.mount_mm"

    @property
    def mount_mm(self) -> float:
        return self.lift.quantities()[self.mount_key]

    @property
    def trip_mm(self) -> float:
        """Nominal trip height at the file's own mounting [mm]."""
        return float(self.responses.nominal.trip_m[0]) / MM

    @property
    def speed_mm_s(self) -> float:
        return self.lift.routine.fast_speed_mm_s

    @property
    def spread_mm(self) -> float:
        """Nominal trip height less the one that all but the allowed share of the draws keep [mm]."""
        allowed = self.lift.requirements.allowed_failure_rate
        return max(self.trip_mm - self.responses.lowest_trip_m(allowed) / MM, 0.0)

    @property
    def floor_mm(self) -> float:
        """Mounting height at which the sensor trips at the hard stop itself [mm]."""
        return self.mount_mm - self.trip_mm

    @property
    def ceiling_mm(self) -> float:
        """Mounting height above which there is nothing to look for [mm].

        Head on, the magnet would hit the switch; a contact would be crushed before the stop bears the
        carriage.
        """
        head_on = getattr(self.lift.sensor(), "approach", None) is Approach.HEAD_ON
        travel_mm, crushed_mm = (
            self.lift.lift.travel_mm,
            float(np.min(self.responses.sensor.damage_depth_m)) / MM,
        )
        return min(travel_mm + self.floor_mm, travel_mm, 0.0 if head_on else math.inf, crushed_mm)

    def at(self, mount_mm: float) -> Lift | None:
        """The lift with its sensor at another height; None when that cannot be."""
        try:
            return moved(self.lift, {self.mount_key: mount_mm})
        except InputError:
            return None

    def at_speed(self, speed_mm_s: float) -> Lift | None:
        """The lift with another approach speed, the slow one never above it; None with an own table."""
        if self.lift.own_routine is not None:
            return None
        slow_mm_s = min(self.lift.routine.creep_speed_mm_s, speed_mm_s)
        try:
            return self.lift.replace(
                {"routine.fast_speed_mm_s": speed_mm_s, "routine.creep_speed_mm_s": slow_mm_s}
            )
        except InputError:
            return None

    @property
    def as_mounted(self) -> Known:
        """Responses of the sensor where it is, which the lift's speed does not change."""
        return self.responses.nominal, self.responses.drawn

    def holds(self, lift: Lift | None, indices: Indices, responses: Known | None = None) -> bool:
        """True when so few of these runs fail that the whole ensemble may still hold."""
        found = try_runs(lift, indices, self.means, responses) if lift is not None else None
        if found is None or found.nominal:
            return False
        allowed = most_failures(self.runs, self.lift.requirements.allowed_failure_rate)
        among_any = max(int(bad[indices < ANY_RUNS].sum()) for bad in found.runs.values())
        return found.worst()[1] <= allowed and among_any <= MOST_OF_ANY

    def confirmed(self, lift: Lift | None) -> Judged | None:
        """The whole ensemble of a changed lift if every requirement holds, else None."""
        return confirm(lift, self.runs, self.means).whole if lift is not None else None


def telling_runs(whole: Judged) -> Indices:
    """Numbers of the runs nearest to any limit or to the hard stop, and of some that are any runs."""
    chosen = [np.arange(min(ANY_RUNS, len(whole.ensemble)))]
    for each in requirements_for(whole.setting.lift):
        limit = limit_of(whole.setting.lift, each)
        values = np.nan_to_num(values_of(each, whole.ensemble), nan=np.inf if each.missing_fails else -np.inf)
        if limit > 0.0:
            chosen.append(np.argsort(-values, kind="stable")[:NEAREST_RUNS])
        else:
            chosen.append(np.flatnonzero(values > limit)[:NEAREST_RUNS])
    clearance = np.nan_to_num(whole.clearance_mm, nan=np.inf)
    chosen.append(np.argsort(clearance, kind="stable")[: 2 * NEAREST_RUNS])
    return np.unique(np.concatenate(chosen)).astype(np.int64)


def down(height_mm: float) -> float:
    """The next told height that is not above."""
    return math.floor(round(height_mm / HEIGHT_STEP_MM, 6)) * HEIGHT_STEP_MM


def up(height_mm: float) -> float:
    """The next told height that is not below."""
    return math.ceil(round(height_mm / HEIGHT_STEP_MM, 6)) * HEIGHT_STEP_MM
