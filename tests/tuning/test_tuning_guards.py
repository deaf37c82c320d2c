"""Guards by rule: the need that is read off traces is the routine's own, to the loop."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from homing.kernel.codes import Reason
from homing.kernel.layout import RESULT_COLUMNS
from homing.lift import MM
from homing.setting import Setting
from homing.simulate import run_block
from homing.tuning.guards import generous, guards_for, values
from homing.tuning.needs import Needs, longest_standing, needs
from homing.tuning.rules import (
    MOTION_FACTOR,
    NO_MOTION,
    TIME_FACTOR,
    TIME_OUT,
    TRAVEL,
    TRAVEL_FACTOR,
    rules,
)
from homing.tuning.settings import with_settings

RUNS = 64
REASON = RESULT_COLUMNS.index("reason")


@pytest.fixture(scope="module")
def free(example_setting: Setting) -> Setting:
    """The example with guards which stop nothing."""
    return with_settings(example_setting, generous(example_setting, rules(example_setting)))


@pytest.fixture(scope="module")
def few() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("homing.tuning.needs.TRACED_RUNS", RUNS)
        yield


@pytest.fixture(scope="module")
def found(free: Setting, few: None) -> Needs:
    with ThreadPoolExecutor(1) as pool:
        return needs(free, rules(free), pool)


def reasons(setting: Setting, **settings: float) -> set[int]:
    rows = run_block(with_settings(setting, settings), np.arange(RUNS, dtype=np.int64))
    return {int(reason) for reason in rows[:, REASON]}


@pytest.mark.parametrize(
    ("key", "need", "scale", "reason"),
    [(TIME_OUT, 0, 1.0, Reason.TIME_OUT), (TRAVEL, 1, 1.0 / MM, Reason.TRAVEL_GUARD)],
)
def test_a_guard_at_the_need_just_holds(
    free: Setting, found: Needs, key: str, need: int, scale: float, reason: Reason
) -> None:
    value = found.most[need] * scale
    assert int(reason) not in reasons(free, **{key: value * (1 + 1e-6)})
    assert int(reason) in reasons(free, **{key: value * (1 - 1e-3)})


def test_no_motion_time_fits_what_runs_need_under_it(free: Setting, few: None) -> None:
    """Pressing against the upper stop for a shorter time changes what comes after."""
    with ThreadPoolExecutor(1) as pool:
        guards = values(guards_for(free, rules(free), pool, {}))
        under = needs(with_settings(free, guards), rules(free), pool)
    assert under.runs == RUNS
    still_s = under.most[2]
    assert still_s / MM * MOTION_FACTOR <= guards[NO_MOTION] + 1e-6
    assert int(Reason.NOT_MOVING) not in reasons(free, **guards)
    assert int(Reason.NOT_MOVING) in reasons(free, **{**guards, NO_MOTION: 0.5 * still_s / MM})


def test_standing_is_told_as_the_routine_tells_it() -> None:
    t = np.arange(8) * 0.02
    counts = np.array([5, 5, 6, 9, 9, 9, 9, 9])
    # one count is a flicker; it stands from the first row to the one before 9, and then to the end
    assert longest_standing(t, counts, last=True) == pytest.approx(0.08)
    assert longest_standing(t, counts, last=False) == pytest.approx(0.04)


def test_the_rule_adds_room_and_rounds_up(free: Setting, few: None) -> None:
    with ThreadPoolExecutor(1) as pool:
        guards = {guard.key: guard for guard in guards_for(free, rules(free), pool, {})}
    factors = {TIME_OUT: TIME_FACTOR, TRAVEL: TRAVEL_FACTOR, NO_MOTION: MOTION_FACTOR}
    steps = {TIME_OUT: 0.5, TRAVEL: 5.0, NO_MOTION: 10.0}
    assert set(guards) == set(factors)
    for key, guard in guards.items():
        assert guard.needed * factors[key] <= guard.value + 1e-6
        assert guard.value < guard.needed * factors[key] + steps[key]
        assert guard.value / steps[key] == pytest.approx(round(guard.value / steps[key]))
    assert values(tuple(guards.values()))[TRAVEL] == guards[TRAVEL].value
    # the longest healthy move is from the top down to the sensor
    assert guards[TRAVEL].needed == pytest.approx(640 - 30, abs=30)


def test_without_a_healthy_run_there_is_no_rule(free: Setting, few: None) -> None:
    # no phase can end in time
    ruined = with_settings(free, {"timeout_s": 0.01})
    with ThreadPoolExecutor(1) as pool:
        assert needs(ruined, rules(ruined), pool).runs == 0
        assert guards_for(ruined, rules(ruined), pool, {}) == ()
