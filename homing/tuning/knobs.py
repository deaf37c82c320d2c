"""What the search may move on a lift: settings of the built-in sequence, or numbers of its own table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from homing.tuning.knob import (
    AGREE,
    BACK_OFF_MM,
    CREEP,
    FAST,
    NO_MOTION,
    REACHABLE_SHARE,
    SLOW_ZONE_SHARE,
    SLOWEST_CREEP_SHARE,
    SLOWEST_FAST_SHARE,
    Knob,
    settle_knob,
    speed_step,
    stall_knob,
)
from homing.tuning.ownknobs import own_knobs
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift


def knobs(lift: Lift) -> tuple[Knob, ...]:
    """The settings that the search moves on this lift.

    Raises
    ------
    InputError
        When the lift brings its own table, and that has no number to search.
    """
    if lift.own_routine is not None:
        return own_knobs(lift)
    free, period, travel = lift.drive.free_speed_mm_s, lift.controller.period_ms, lift.lift.travel_mm
    fastest = REACHABLE_SHARE * free
    step = speed_step(fastest)
    found = [
        Knob(FAST, max(SLOWEST_FAST_SHARE * free, step), fastest, step, ratio=True),
        Knob(CREEP, max(SLOWEST_CREEP_SHARE * free, 1.0), fastest, 1.0, ratio=True, under=FAST),
        Knob("back_off_mm", *BACK_OFF_MM, 0.5),
        settle_knob("settle_ms", period),
        Knob("agree_readings", *AGREE, 1.0),
    ]
    if lift.routine.referenced_at_start:
        # before the first zero no height is known, and the zone has no effect
        found.append(Knob("slow_zone_mm", 0.0, SLOW_ZONE_SHARE * travel, 5.0))
    if lift.sensor().kind is SensorKind.STALL:
        found.append(stall_knob(NO_MOTION, period))
    return tuple(found)
