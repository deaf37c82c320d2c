"""Every cause on a few generated logs, and the look-alikes that must be told apart.

The logs come from `matchrun`, an invented simulator; `tests/benchmarks/confusion.py` does the same by the
hundred. Signatures are those of the trade (common practice, no source).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from matchrun import match_log

from homing.liftfile import load_lift
from homing.report.tracefile import write_trace
from homing.simulate import simulate
from replay.causes import BROUGHT_ABOUT, JUDGES, PRIORS
from replay.diagnosing import diagnose
from replay.diagnosis import Cause, Diagnosis, Verdict
from replay.reading import read_log
from replay.units import Role
from sensor_models.kinds import SensorKind

C = Cause
ROOT = Path(__file__).resolve().parents[2]
SEEDS = range(4)
HARD = {C.CANNOT_TELL}


@cache
def found(cause: Cause | None, seed: int, without: tuple[Role, ...] = ()) -> Diagnosis | None:
    try:
        match = match_log(cause, seed)
    except ValueError:
        return None
    with TemporaryDirectory() as folder:
        log = match.log(Path(folder), without)
    return diagnose(log, None, match.limit, SensorKind[match.robot.kind.upper()])


def all_of(cause: Cause | None) -> list[Diagnosis]:
    return [each for seed in SEEDS if (each := found(cause, seed)) is not None]


def test_every_cause_has_its_judge() -> None:
    assert set(JUDGES) == set(Cause) - {C.CANNOT_TELL}
    assert set(PRIORS) <= set(JUDGES)
    for later, sources in BROUGHT_ABOUT.items():
        assert later not in sources


@pytest.mark.parametrize("cause", [each for each in Cause if each not in HARD])
def test_the_true_cause_comes_first(cause: Cause) -> None:
    logs = all_of(cause)
    assert logs
    firsts = [each.findings[0].cause if each.findings else None for each in logs]
    assert sum(first is cause for first in firsts) >= 0.7 * len(firsts), firsts


@pytest.mark.parametrize("seed", range(8))
def test_healthy_matches_raise_no_alarm(seed: int) -> None:
    diagnosis = found(None, seed)
    assert diagnosis is not None
    assert diagnosis.verdict is Verdict.NO_OVERRUN
    assert diagnosis.findings == ()


@pytest.mark.parametrize(
    ("true", "like"),
    [
        (C.LATE_LOOP, C.STALE_READING),
        (C.STALE_READING, C.LATE_LOOP),
        (C.MISSED_EDGE, C.TARGET_LOST),
        (C.TARGET_LOST, C.MISSED_EDGE),
        (C.STRING_STRETCH, C.COUNT_LOSS),
        (C.COUNT_LOSS, C.STRING_STRETCH),
        (C.SHORT_MARGIN, C.LATE_LOOP),
        (C.LIMIT_NOT_CHECKED, C.LATE_LOOP),
        (C.CONTACT_CHATTER, C.ELECTRICAL_NOISE),
        (C.ELECTRICAL_NOISE, C.CONTACT_CHATTER),
        (C.DRIVE_SLIP, C.SWITCH_DAMAGE),
        (C.SWITCH_DAMAGE, C.DRIVE_SLIP),
        (C.OVERLAPPED_WRAPS, C.STRING_STRETCH),
        (C.STRING_STRETCH, C.OVERLAPPED_WRAPS),
        (C.SLACK_PAYOUT, C.PRESSING_ON_STOP),
        (C.PRESSING_ON_STOP, C.SLACK_PAYOUT),
        (C.DRIVE_SIGN, C.REVERSE_WRAP),
    ],
)
def test_look_alikes_are_told_apart(true: Cause, like: Cause) -> None:
    for diagnosis in all_of(true):
        score = {each.cause: each.score for each in diagnosis.findings}
        if true in score:
            assert score[true] > score.get(like, 0.0)


@pytest.mark.parametrize("cause", [None, C.LATE_LOOP, C.SHORT_MARGIN, C.STALE_READING, C.DRIVE_SLIP])
@pytest.mark.parametrize(
    "without",
    [(Role.COMMAND,), (Role.CURRENT, Role.BATTERY), (Role.STATE,), (Role.SENSOR,)],
    ids=lambda roles: "+".join(roles),
)
def test_missing_columns_lead_to_no_crash_and_no_false_alarm(
    cause: Cause | None, without: tuple[Role, ...]
) -> None:
    for seed in range(2):
        diagnosis = found(cause, seed, without)
        if diagnosis is None:
            continue
        assert set(diagnosis.missing) >= {role.value for role in without}
        assert sum(each.score for each in diagnosis.findings) <= 1.0 + 1e-9
        if cause is None:
            assert {each.cause for each in diagnosis.findings} <= {C.CANNOT_TELL}


@pytest.mark.parametrize(
    ("true", "like"), [(C.LIMIT_NOT_CHECKED, C.SLACK_PAYOUT), (C.SLACK_PAYOUT, C.LIMIT_NOT_CHECKED)]
)
def test_without_the_command_the_motion_tells_driven_from_free(true: Cause, like: Cause) -> None:
    """A driven lift keeps the speed of its approach; a free spool gathers speed."""
    scores = []
    for seed in SEEDS:
        diagnosis = found(true, seed, (Role.COMMAND,))
        if diagnosis is not None:
            score = {each.cause: each.score for each in diagnosis.findings}
            scores.append(score.get(true, 0.0) > score.get(like, 0.0))
    assert len(scores) >= 3
    assert sum(scores) >= len(scores) - 1


def test_leaving_the_sensor_far_above_its_trip_is_hysteresis(tmp_path: Path) -> None:
    """A lift that starts in its window lets go of it where it pleases: nothing drops out at a height."""
    lift = load_lift(ROOT / "examples" / "shelving_robot" / "horizontal.toml")
    trace = simulate(lift, run=4).trace
    assert trace is not None
    diagnosis = diagnose(read_log(write_trace(trace, tmp_path / "trace.csv")), lift)
    assert diagnosis.findings == ()


def test_late_loops_survive_the_loss_of_everything_but_the_sensor() -> None:
    bare = (Role.COMMAND, Role.CURRENT, Role.BATTERY, Role.STATE)
    for seed in range(3):
        diagnosis = found(C.LATE_LOOP, seed, bare)
        assert diagnosis is not None
        assert diagnosis.findings[0].cause is C.LATE_LOOP
