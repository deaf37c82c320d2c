"""The changes that are tried on a bad visit, one function each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Mode
from replay.approach import MM
from replay.diagnosis import Cause
from replay.open_loop import (
    Ensemble,
    Outcome,
    as_logged,
    ensemble_of,
)
from replay.what_if_stops import edge_known, slower, stopped, until_loop, until_read
from replay.what_if_study import Study, WhatIf, judged

Floats = NDArray[np.float64]

#: Causes that lie in the count or the reading's meaning: a guard on counts, or agreement of readings, may
#: or may not have seen them.
COUNT_CAUSES = frozenset(
    {Cause.COUNTER_RESET, Cause.COUNT_LOSS, Cause.DRIVE_SLIP, Cause.UNKNOWN_START, Cause.ZERO_WHILE_MOVING}
)
FLICKER_CAUSES = frozenset({Cause.ELECTRICAL_NOISE, Cause.CONTACT_CHATTER, Cause.ZERO_WHILE_MOVING})
#: Speed of a slower approach, as a share of the logged one.
SLOWER = 0.5
#: A slow zone is at least this long, and its speed at most this share of the logged one [m].
ZONE_M, CREEP_SHARE = 0.03, 0.5
#: A sensor is moved by whole steps of this many mm, at most so many.
MOUNT_STEP_MM, MOUNT_MOST_MM = 5.0, 60.0
#: A wider target's window is this many times as long.
WIDER = 1.5
#: A guard on counts acts this share of the limit below the trip.
GUARD_SHARE = 0.5
#: Overtravels closer than this are the same [m].
SAME_M = 1e-6
AGREEMENT = "two readings must agree before zero is set (stopping never waits for them)"


def changes_of(study: Study, was: Outcome, error_m: float) -> Iterator[WhatIf]:
    """Every change that this lift allows, as (what, what comes of it)."""
    makers: tuple[Callable[[Study, Outcome], tuple[str, Outcome, float] | None], ...] = (
        slower_approach, slow_zone, higher_sensor, shorter_loop, braking, return_string, wider_target,
        travel_guard,
    )  # fmt: skip
    for make in makers:
        made = make(study, was)
        if made is None:
            continue
        change, outcome, off_m = made
        result = judged(change, outcome, study, error_m, off_m)
        if off_m == 0.0 and np.allclose(outcome.overtravel_m, was.overtravel_m, rtol=0.0, atol=SAME_M):
            result = replace(result, prevented=False)  # it changes nothing, and the lift did overrun
        blind = make is travel_guard and study.cause in COUNT_CAUSES
        yield replace(result, prevented=None) if blind else result
    agreed = judged(AGREEMENT, was, study, error_m)
    yield replace(agreed, prevented=None if study.cause in FLICKER_CAUSES else False)


def slower_approach(study: Study, was: Outcome) -> tuple[str, Outcome, float]:
    """Half the speed all the way."""
    speed = SLOWER * study.approach.speed_m_s
    return f"approach at {speed / MM:.0f} mm/s instead of {_speed(study)}", slower(study, speed), 0.0


def slow_zone(study: Study, was: Outcome) -> tuple[str, Outcome, float] | None:
    """Creep speed for the last part of the way."""
    routine = study.lift.routine
    speed = min(routine.creep_speed_mm_s * MM, CREEP_SHARE * study.approach.speed_m_s)
    zone_m = max(routine.slow_zone_mm * MM, ZONE_M)
    words = f"slow zone: the last {zone_m / MM:.0f} mm above the trip at {speed / MM:.0f} mm/s"
    return words, slower(study, speed), 0.0


def higher_sensor(study: Study, was: Outcome) -> tuple[str, Outcome, float]:
    """The sensor trips earlier; the overtravel is told past the height at which it tripped before."""
    over_mm = (study.approach.overtravel_m - study.limit_m) / MM
    steps = max(1.0, math.ceil((over_mm + MOUNT_STEP_MM) / MOUNT_STEP_MM))
    higher_mm = min(MOUNT_STEP_MM * steps, MOUNT_MOST_MM)
    outcome = as_logged(_moved(study.lifts, higher_mm * MM), study.approach)
    words = f"sensor {higher_mm:.0f} mm higher (overtravel past the former trip height)"
    return words, outcome, higher_mm * MM


def shorter_loop(study: Study, was: Outcome) -> tuple[str, Outcome, float]:
    """Half the period and no late loop; what came after the first row past the trip stays."""
    approach = study.approach
    period_s = 0.5 * approach.period_s
    words = f"control loop of {period_s * 1e3:.0f} ms that is never late"
    if math.isinf(approach.seen_s):
        seen = study.window_m > approach.speed_m_s * period_s and math.isfinite(study.window_m)
        waits = until_read(study, period_s) if seen else None
    else:
        waits = until_read(study, period_s) + max(0.0, approach.begun_s - approach.first_row_s)
    return words, stopped(study, edge_known(study.lifts), approach.speed_m_s, waits), 0.0


def braking(study: Study, was: Outcome) -> tuple[str, Outcome, float] | None:
    """Shorted windings where they were open."""
    if study.lifts.off is not Mode.OPEN:
        return None
    outcome = as_logged(study.lifts.with_off(Mode.SHORTED), study.approach)
    return study.brake_words, outcome, 0.0


def return_string(study: Study, was: Outcome) -> tuple[str, Outcome, float] | None:
    """A second string that pulls the carriage in and holds the spool when the carriage stands."""
    if study.lift.string is None or study.lift.string.return_string:
        return None
    lift = study.lift.replace({"string.return_string": True})
    lifts = ensemble_of(
        lift, study.sets, study.trip_m, study.lifts.edge_m,
        row_before_s=study.row_before_s, measured=study.measured,
    ).with_off(study.lifts.off)  # fmt: skip
    return "return string", as_logged(lifts, study.approach), 0.0


def wider_target(study: Study, was: Outcome) -> tuple[str, Outcome, float] | None:
    """A longer window: it helps where the reading was never there when it was looked at."""
    approach = study.approach
    if math.isinf(study.window_m):
        return None
    missed = math.isinf(approach.seen_s)
    caught = missed and WIDER * study.window_m > approach.speed_m_s * approach.period_s
    waits = until_read(study, approach.period_s) if caught else None
    words = f"target half as long again (made over {WIDER * study.window_m / MM:.0f} mm)"
    return words, stopped(study, study.lifts, approach.speed_m_s, waits), 0.0


def travel_guard(study: Study, was: Outcome) -> tuple[str, Outcome, float]:
    """Stop on counts alone once they are past the trip, whatever the sensor says."""
    approach, below_m = study.approach, GUARD_SHARE * study.limit_m
    waits = below_m / approach.speed_m_s + until_loop(study, approach.period_s)
    waits = np.minimum(waits, approach.begun_s)
    words = f"travel guard: stop on counts {below_m / MM:.0f} mm below the trip, whatever the sensor says"
    return words, stopped(study, study.lifts, approach.speed_m_s, waits), 0.0


def _speed(study: Study) -> str:
    return f"{study.approach.speed_m_s / MM:.0f}"


def _moved(lifts: Ensemble, higher_m: float) -> Ensemble:
    return replace(lifts, trip_m=lifts.trip_m + higher_m)
