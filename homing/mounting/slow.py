"""Where no mounting height saves the lift: the slow zone by encoder that does.

Overtravel hangs on speed, not on height. A lift that overtravels too far wherever its sensor sits has to be
slow before it gets there, which a referenced lift can be: below ``slow_zone_mm`` of declared height it comes
at ``creep_speed_mm_s``. The zone must hold the highest trip and the way on which the lift slows down::

    slow zone = highest trip height (99 of 100) + v (longest loop + drive latency) + (v^2 - u^2) / (2 a) + lag

It is confirmed by the ensemble with the height known at the start, and grown until it is. The first homing
after power-up knows no height; it has to come slowly all the way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from homing.lift import MM
from homing.mounting.terms import slowing_mm
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.mounting.study import Study

#: A slow zone is told to this, and grows by as much until it is confirmed [mm].
ZONE_STEP_MM = 5.0
#: Sizes and speeds that are tried.
MOST_SIZES = 4
#: Of the fastest approach that the mounting allows, what is recommended inside the zone.
SPEED_SHARE = 0.9


@dataclass(frozen=True)
class SlowZone:
    """Declared height below which the lift must come slowly [mm], and how slowly [mm/s]."""

    size_mm: float
    speed_mm_s: float


def slow_zone(study: Study, fastest_mm_s: float) -> SlowZone | None:
    """A confirmed slow zone for the file's own mounting and approach speed; None: none was found.

    Parameters
    ----------
    study : Study
    fastest_mm_s : float
        Fastest approach that the file's own mounting allows [mm/s]; NaN: unknown.
    """
    lift = study.lift
    if lift.own_routine is not None:
        return None
    slow = lift.routine.creep_speed_mm_s
    if not math.isnan(fastest_mm_s):
        slow = min(slow, max(math.floor(SPEED_SHARE * fastest_mm_s), 1.0))
    trip_mm = study.responses.highest_trip_m(lift.requirements.allowed_failure_rate) / MM
    wanted = trip_mm + slowing_mm(lift, study.speed_mm_s, slow, study.loops)
    size = math.ceil(wanted / ZONE_STEP_MM) * ZONE_STEP_MM
    for _ in range(MOST_SIZES):
        try:
            changed = lift.replace(
                {
                    "routine.referenced_at_start": True,
                    "routine.slow_zone_mm": size,
                    "routine.creep_speed_mm_s": slow,
                }
            )
        except InputError:
            return None
        if study.confirmed(changed) is not None:
            return SlowZone(size, slow)
        size += ZONE_STEP_MM
    return None
