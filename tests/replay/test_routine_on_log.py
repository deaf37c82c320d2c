"""The built-in routine run over logs: over its own traces nothing differs, over faulty ones the fault."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matchrun import match_log

import homing
from homing.liftfile import load_lift
from homing.report.tracefile import write_trace
from replay.diagnosis import Cause
from replay.log import Log
from replay.reading import read_log
from replay.routine_on_log import NO_LIFT, NO_SENSOR, Kind, RoutineOnLog, routine_on_log
from replay.track import track_of
from replay.units import Role
from replay.visits import visits_of


def _over(log: Log, lift: homing.Lift | None = None) -> RoutineOnLog:
    track = track_of(log)
    return routine_on_log(track, visits_of(track), lift)


@pytest.fixture(scope="module")
def lift() -> homing.Lift:
    return load_lift(None)


@pytest.mark.parametrize("run", [None, 0, 1, 2, 3])
def test_a_trace_of_the_routine_is_the_routine(run: int | None, lift: homing.Lift, tmp_path: Path) -> None:
    """Phase by phase, loop by loop: the kernel's decisions come out of its own trace again."""
    path = tmp_path / "trace.csv"
    write_trace(homing.simulate(lift, 0, run).trace, path)
    log = read_log(path).scaled(lift.drive.mm_per_count)
    found = _over(log, lift)
    assert found.compared == len(log)
    assert found.differences == ()


def test_a_reading_left_out_of_a_trace_is_found(lift: homing.Lift, tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    write_trace(homing.simulate(lift, 0).trace, path)
    log = read_log(path).scaled(lift.drive.mm_per_count)
    made = log[Role.SENSOR].copy()
    first = int(np.flatnonzero((made[1:] > 0.5) & (made[:-1] < 0.5))[0]) + 1
    made[first : first + 3] = 0.0
    found = _over(replace(log, values={**log.values, Role.SENSOR: made}), lift)
    assert found.differences
    assert found.differences[0].kind is Kind.OTHER_PHASE
    assert abs(found.differences[0].rows[0] - int(log.row[first])) <= 3


def test_a_reading_that_was_not_obeyed(tmp_path: Path) -> None:
    match = match_log(Cause.LIMIT_NOT_CHECKED, 1)
    found = _over(match.log(tmp_path))
    kept = [each for each in found.differences if each.kind is Kind.KEPT_ON]
    assert kept
    assert "reading made, the routine stops; the log kept commanding" in kept[0].words


def test_a_zero_while_moving_is_too_early(tmp_path: Path) -> None:
    match = match_log(Cause.ZERO_WHILE_MOVING, 2)
    found = _over(match.log(tmp_path))
    early = [each for each in found.differences if each.kind is Kind.ZEROED_EARLY]
    assert early
    assert "standstill" in early[0].words


def test_without_a_sensor_it_says_so(tmp_path: Path) -> None:
    log = match_log(None, 2).log(tmp_path)
    values = {role: column for role, column in log.values.items() if role is not Role.SENSOR}
    roles = {role: choice for role, choice in log.roles.items() if role is not Role.SENSOR}
    assert _over(replace(log, values=values, roles=roles)).notes == (NO_SENSOR,)


def test_without_a_lift_it_says_so(tmp_path: Path) -> None:
    assert NO_LIFT in _over(match_log(None, 2).log(tmp_path)).notes
