"""The changes that are tried on a bad visit, one function each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Mode
from homing.words import CommandKind
from replay.approach import LEAD_S, MM, Approach
from replay.diagnosing import reading_age
from replay.diagnosis import Cause
from replay.open_loop import (
    Ensemble,
    Outcome,
    as_logged,
    drive,
    ensemble_of,
)
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
#: A reading that comes within so many periods and its age came in time: loops jitter.
IN_TIME = 1.3
#: Nothing moves any more this long after the stop command [s].
COMES_TO_REST_S = 0.6


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
    return f"approach at {speed / MM:.0f} mm/s instead of {_speed(study)}", _slower(study, speed), 0.0


def slow_zone(study: Study, was: Outcome) -> tuple[str, Outcome, float] | None:
    """Creep speed for the last part of the way."""
    routine = study.lift.routine
    speed = min(routine.creep_speed_mm_s * MM, CREEP_SHARE * study.approach.speed_m_s)
    zone_m = max(routine.slow_zone_mm * MM, ZONE_M)
    words = f"slow zone: the last {zone_m / MM:.0f} mm above the trip at {speed / MM:.0f} mm/s"
    return words, _slower(study, speed), 0.0


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
        waits = _until_read(study, period_s) if seen else None
    else:
        waits = _until_read(study, period_s) + max(0.0, approach.begun_s - approach.first_row_s)
    return words, _stopped(study, _edge_known(study.lifts), approach.speed_m_s, waits), 0.0


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
    waits = _until_read(study, approach.period_s) if caught else None
    words = f"target half as long again (made over {WIDER * study.window_m / MM:.0f} mm)"
    return words, _stopped(study, study.lifts, approach.speed_m_s, waits), 0.0


def travel_guard(study: Study, was: Outcome) -> tuple[str, Outcome, float]:
    """Stop on counts alone once they are past the trip, whatever the sensor says."""
    approach, below_m = study.approach, GUARD_SHARE * study.limit_m
    waits = below_m / approach.speed_m_s + _until_loop(study, approach.period_s)
    waits = np.minimum(waits, approach.begun_s)
    words = f"travel guard: stop on counts {below_m / MM:.0f} mm below the trip, whatever the sensor says"
    return words, _stopped(study, study.lifts, approach.speed_m_s, waits), 0.0


def _speed(study: Study) -> str:
    return f"{study.approach.speed_m_s / MM:.0f}"


def _until_loop(study: Study, period_s: float) -> Floats:
    """Time to the next loop, which may lie anywhere in its period (k,) [s]."""
    return study.rng.uniform(0.0, period_s, len(study.lifts))


def _until_read(study: Study, period_s: float) -> Floats:
    """Time from the trip to the first loop whose reading has seen it (k,) [s]."""
    age = reading_age(study.lift)
    held_s = study.rng.uniform(0.0, age.hold_s, len(study.lifts))
    return age.mean_s + held_s + _until_loop(study, period_s)


def _until_stop(study: Study) -> Floats:
    """Time from the trip to the stop of the same routine on another way in (k,) [s].

    What followed the reading stays. The loops lie anywhere beside the trip again, but a reading that was
    late in the log is as late again.
    """
    approach, age = study.approach, reading_age(study.lift)
    read_s = approach.seen_s if math.isfinite(approach.seen_s) else approach.first_row_s
    if read_s <= age.mean_s + age.hold_s + IN_TIME * approach.period_s:
        again = _until_read(study, approach.period_s)
    else:
        again = read_s - approach.period_s / 2 + _until_loop(study, approach.period_s)
    return np.maximum(0.0, approach.begun_s - read_s + again)


def _edge_known(lifts: Ensemble) -> Ensemble:
    """The same lifts where time counts from the trip itself, wherever the log's edge lay."""
    return replace(lifts, edge_m=np.zeros(len(lifts)))


def _moved(lifts: Ensemble, higher_m: float) -> Ensemble:
    return replace(lifts, trip_m=lifts.trip_m + higher_m)


def _slower(study: Study, speed_m_s: float) -> Outcome:
    """Another speed; a reading that was missed is there if it now lasts longer than a loop."""
    approach = study.approach
    missed = math.isinf(approach.seen_s) and math.isfinite(study.window_m)
    caught = missed and study.window_m > speed_m_s * approach.period_s
    waits = _until_read(study, approach.period_s) if caught else _until_stop(study)
    return _stopped(study, _edge_known(study.lifts), speed_m_s, waits)


def _stopped(study: Study, lifts: Ensemble, speed_m_s: float, waits_s: Floats | None) -> Outcome:
    """Drive at a speed; the stop begins so long after the trip, or as long as in the log (None)."""
    approach = study.approach
    if waits_s is None:
        waits_s = np.full(len(lifts), approach.begun_s)
    same = speed_m_s == approach.speed_m_s
    duty = None if same else approach.approach_duty + _duty_change(study, speed_m_s)
    pace = 1.0 if same else _stop_pace(study, speed_m_s)
    commands = [commands_for(approach, duty, float(wait), pace) for wait in waits_s]
    latest = float(np.max(waits_s[np.isfinite(waits_s)], initial=0.0))
    until_s = approach.stand_s * approach.speed_m_s / speed_m_s if np.isinf(waits_s).any() else 0.0
    begin = (approach.begin_m, approach.begin_m_s) if same else speed_m_s
    return drive(lifts, begin, commands, max(until_s, latest + COMES_TO_REST_S))


def _stop_pace(study: Study, speed_m_s: float) -> float:
    """Duration of a stop from another speed over the logged one: a drive of its own ramps, then settles."""
    drive_table = study.lift.drive
    if drive_table.command is CommandKind.DUTY:
        return 1.0
    settles_s = drive_table.speed_loop_time_constant_ms * MM
    ramp_m_s2 = drive_table.deceleration_mm_s2 * MM
    return (speed_m_s / ramp_m_s2 + settles_s) / (study.approach.speed_m_s / ramp_m_s2 + settles_s)


def _duty_change(study: Study, speed_m_s: float) -> float:
    """What the command changes by for another speed: back-EMF and viscous friction, median lift."""
    runs, approach = study.lifts.runs, study.approach
    bus_v = float(np.median(approach.commands[:, 2])) or study.lift.battery.open_circuit_v
    emf = runs.back_emf_v_s * runs.ratio_rad_per_m
    rub = runs.resistance_ohm / runs.force_n_per_a * runs.efficiency * runs.viscous_n_s_per_m
    return (approach.speed_m_s - speed_m_s) * float(np.median(emf + rub)) / bus_v


def commands_for(approach: Approach, duty: float | None, wait_s: float, pace: float = 1.0) -> Floats:
    """Commands (m, 3): the approach until ``wait_s`` after the trip, then the stop as it was in the log.

    ``duty`` None is the logged approach; ``pace`` is the duration of the stop over that of the logged one.
    The stop begins at the same share between approach and rest as in the log; where the log has none, the
    lift is given the command with which it rests. The stop is all that follows ``approach.begun_s``.
    """
    bus_v = float(np.median(approach.commands[:, 2]))
    if duty is None:
        coming = approach.commands[approach.commands[:, 0] < min(wait_s, approach.begun_s)]
    else:
        coming = np.array([[-LEAD_S, duty, bus_v]])
    if math.isinf(wait_s):
        return coming
    logged = approach.commands[approach.commands[:, 0] >= approach.begun_s - 1e-9].copy()
    if len(logged) == 0:
        return np.vstack([coming, [[wait_s, approach.rest_duty, bus_v]]])
    logged[:, 0] = wait_s + pace * (logged[:, 0] - approach.begun_s)
    if duty is not None:
        share = (duty - approach.rest_duty) / (approach.approach_duty - approach.rest_duty)
        moving = logged[:, 1] != 0.0
        logged[moving, 1] = approach.rest_duty + share * (logged[moving, 1] - approach.rest_duty)
    return np.vstack([coming, logged])
