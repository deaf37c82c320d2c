"""A lift simulated by a general physics engine, with a known fault, is diagnosed rightly.

Outside source of the motion: MuJoCo (the engine's friction, joint limit, tendon and integrator); the
program's own plant and controller take no part in these logs.
"""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("mujoco")

from enginelogs import FAULTY, LOOP_S, MM_PER_COUNT, SLOW, TARGETS, EngineMatch, Trouble

from replay.diagnosing import diagnose
from replay.diagnosis import Cause, Diagnosis, Verdict
from replay.reading import read_log
from sensor_models.kinds import SensorKind


def played(trouble: Trouble, folder: Path) -> tuple[EngineMatch, Diagnosis]:
    match = EngineMatch(trouble)
    path = folder / "match.csv"
    path.write_text(match.run())
    log = read_log(path).scaled(MM_PER_COUNT)
    return match, diagnose(log, kind=SensorKind.MAGNET)


def test_a_healthy_lift_raises_no_alarm(tmp_path: Path) -> None:
    match, found = played(Trouble.NOTHING, tmp_path)
    assert found.verdict is Verdict.NO_OVERRUN
    assert found.findings == ()
    assert len(found.visits) == len(TARGETS)
    for visit in found.visits:
        # one count, and half the way of one loop: the edge lies anywhere between two rows
        bound = MM_PER_COUNT + SLOW * LOOP_S / 2
        assert visit.overtravel == pytest.approx(match.overtravel(visit.number), abs=bound)


@pytest.mark.parametrize(
    ("trouble", "cause"),
    [
        (Trouble.LATE_LOOP, Cause.LATE_LOOP),
        (Trouble.TARGET_LOST, Cause.TARGET_LOST),
        (Trouble.MISSED_EDGE, Cause.MISSED_EDGE),
        (Trouble.DRIVE_SLIP, Cause.DRIVE_SLIP),
    ],
    ids=lambda each: each.name.lower(),
)
def test_a_known_fault_is_named(trouble: Trouble, cause: Cause, tmp_path: Path) -> None:
    match, found = played(trouble, tmp_path)
    assert found.verdict is Verdict.OVERRUN
    assert found.bad_visit is not None
    assert found.bad_visit.number == FAULTY
    assert found.findings[0].cause is cause
    true = match.overtravel(FAULTY)
    assert found.bad_visit.overtravel == pytest.approx(true, abs=max(2.0, 0.1 * true))
