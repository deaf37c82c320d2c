"""The stop of a visit made again: when it begins after a change, and with which commands."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from homing.words import CommandKind
from replay.approach import LEAD_S, MM, Approach
from replay.diagnosing import reading_age
from replay.open_loop import (
    Ensemble,
    Outcome,
    drive,
)
from replay.what_if_study import Study, even

Floats = NDArray[np.float64]

#: A reading that comes within so many periods and its age came in time: loops jitter.
IN_TIME = 1.3
#: Nothing moves any more this long after the stop command [s].
COMES_TO_REST_S = 0.6


def until_loop(study: Study, period_s: float) -> Floats:
    """Time to the next loop, which may lie anywhere in its period (k,) [s]."""
    return even(study.rng, 0.0, period_s, len(study.lifts))


def until_read(study: Study, period_s: float) -> Floats:
    """Time from the trip to the first loop whose reading has seen it (k,) [s]."""
    age = reading_age(study.lift)
    held_s = even(study.rng, 0.0, age.hold_s, len(study.lifts))
    return age.mean_s + held_s + until_loop(study, period_s)


def _until_stop(study: Study) -> Floats:
    """Time from the trip to the stop of the same routine on another way in (k,) [s].

    What followed the reading stays. The loops lie anywhere beside the trip again, but a reading that was
    late in the log is as late again.
    """
    approach, age = study.approach, reading_age(study.lift)
    read_s = approach.seen_s if math.isfinite(approach.seen_s) else approach.first_row_s
    if read_s <= age.mean_s + age.hold_s + IN_TIME * approach.period_s:
        again = until_read(study, approach.period_s)
    else:
        again = read_s - approach.period_s / 2 + until_loop(study, approach.period_s)
    return np.maximum(0.0, approach.begun_s - read_s + again)


def edge_known(lifts: Ensemble) -> Ensemble:
    """The same lifts where time counts from the trip itself, wherever the log's edge lay."""
    return replace(lifts, edge_m=np.zeros(len(lifts)))


def slower(study: Study, speed_m_s: float) -> Outcome:
    """Another speed; a reading that was missed is there if it now lasts longer than a loop."""
    approach = study.approach
    missed = math.isinf(approach.seen_s) and math.isfinite(study.window_m)
    caught = missed and study.window_m > speed_m_s * approach.period_s
    waits = until_read(study, approach.period_s) if caught else _until_stop(study)
    return stopped(study, edge_known(study.lifts), speed_m_s, waits)


def stopped(study: Study, lifts: Ensemble, speed_m_s: float, waits_s: Floats | None) -> Outcome:
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
