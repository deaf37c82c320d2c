"""What-if studies of simulated overruns against the simulator itself, which can really make the change."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fitlogs import duty_lift, traced
from logfiles import DATASETS, needs_datasets

from homing.liftfile import Lift, load_lift
from homing.simulate import simulate
from replay.approach import approach_of
from replay.columns import LogColumns
from replay.diagnosing import diagnose
from replay.diagnosis import Cause
from replay.fit import fit_logs
from replay.fit_channels import channels
from replay.log import Log
from replay.reading import read_log
from replay.track import track_of
from replay.what_if import WhatIf, WhatIfs, what_if
from replay.what_if_report import as_it_was_json, what_if_json, what_if_text
from replay.what_if_stops import commands_for
from replay.what_if_study import even

LIMIT_MM = 12.0
#: A fast approach with a slow loop: it overruns.
OVERRUN = {
    "routine.fast_speed_mm_s": 300.0,
    "controller.period_ms": 50.0,
    "controller.sensor_latency_ms": 5.0,
}
PRACTICE = DATASETS / "practice"


def study(log: Log, lift: Lift, cause: Cause | None = None) -> WhatIfs:
    visit = diagnose(log, lift, limit_mm=LIMIT_MM).bad_visit
    assert visit is not None
    found = what_if(track_of(log), visit, lift, limit_mm=LIMIT_MM, fit=fit_logs([log], lift), cause=cause)
    assert found is not None
    return found


def named(found: WhatIfs, words: str) -> WhatIf:
    return next(each for each in found.changes if words in each.change)


def truly(lift: Lift, **changes: float | bool) -> float:
    """Overtravel of the lift with the change really made [mm]."""
    run = simulate(lift.replace({key.replace("__", "."): value for key, value in changes.items()}))
    return run.metrics["overtravel_mm"]


@pytest.fixture(scope="module", params=["duty", "speed"])
def lift(request: pytest.FixtureRequest, example: Lift) -> Lift:
    return (duty_lift(example) if request.param == "duty" else example).replace(OVERRUN)


@pytest.fixture(scope="module")
def found(lift: Lift, tmp_path_factory: pytest.TempPathFactory) -> WhatIfs:
    return study(traced(lift, tmp_path_factory.mktemp("what_if")), lift)


def test_as_it_was_is_close_to_the_log(found: WhatIfs, lift: Lift) -> None:
    assert abs(found.model_error_mm) < 3.0
    assert found.as_it_was.low <= truly(lift) <= found.as_it_was.high
    assert found.as_it_was.prevented is False


@pytest.mark.parametrize(
    ("words", "changes"),
    [
        ("approach at", {"routine__fast_speed_mm_s": 150.0}),
        ("control loop", {"controller__period_ms": 25.0}),
        ("return string", {"string__return_string": True}),
    ],
)
def test_changes_come_out_as_the_simulator_makes_them(
    found: WhatIfs, lift: Lift, words: str, changes: dict[str, float | bool]
) -> None:
    told = named(found, words)
    true_mm = truly(lift, **changes)
    assert told.low <= true_mm <= told.high
    if told.prevented is not None:
        assert told.prevented == (true_mm <= LIMIT_MM)


@pytest.mark.slow
@pytest.mark.parametrize("driven_by", ["duty", "speed"])
def test_intervals_hold_wherever_the_loops_lie(driven_by: str, example: Lift, tmp_path: Path) -> None:
    """A dozen starts put the loops evenly beside the trip; the benchmark of the same does forty."""
    base = (duty_lift(example) if driven_by == "duty" else example).replace(OVERRUN)
    changes = {
        "approach at": {"routine__fast_speed_mm_s": 150.0},
        "control loop": {"controller__period_ms": 25.0},
    }
    held, off = [], []
    for k in range(12):
        # the golden section of the way in one loop
        lift = base.replace({"lift.start_mm": 330.0 + (9.2705 * k) % 150.0})
        log = traced(lift, tmp_path)
        if diagnose(log, lift, limit_mm=LIMIT_MM).bad_visit is None:
            continue
        found = study(log, lift)
        for words, change in changes.items():
            told, true_mm = named(found, words), truly(lift, **change)
            held.append(told.low <= true_mm <= told.high)
            off.append(told.overtravel_mm - true_mm)
    assert len(held) >= 16
    assert np.mean(held) >= 0.85
    # a loop may lie anywhere in 50 ms at 150 mm/s and in 25 ms at 300 mm/s: 7.5 mm, 2.2 mm of deviation
    assert abs(np.mean(off)) < 3 * 7.5 / 12**0.5 / len(off) ** 0.5


def test_draws_are_even_over_their_range() -> None:
    drawn = even(np.random.default_rng(5), 2.0, 4.0, 20)
    assert sorted(((drawn - 2.0) / 2.0 * 20).astype(int).tolist()) == list(range(20))
    assert np.mean(drawn) == pytest.approx(3.0, abs=0.05)


def test_json_and_text(found: WhatIfs) -> None:
    listed = what_if_json(found)
    assert len(listed) == len(found.changes)
    assert set(listed[0]) == {"change", "overtravel_mm", "low", "high", "prevented"}  # as the contract says
    was = as_it_was_json(found)
    assert was is not None
    assert was["model_error_mm"] == pytest.approx(found.model_error_mm, abs=1e-3)
    assert what_if_json(None) == []
    text = what_if_text(found)
    assert "(the model's error)" in text
    assert text.count("\n") == len(found.changes) + len(found.not_tried) + len(found.shown)


def test_a_slow_zone_prevents_it(found: WhatIfs) -> None:
    assert named(found, "slow zone").prevented is True


def test_what_changes_nothing_prevents_nothing(found: WhatIfs) -> None:
    assert named(found, "two readings must agree").prevented is False
    assert named(found, "return string").prevented is False


def test_every_interval_holds_its_middle(found: WhatIfs) -> None:
    assert len(found.changes) >= 7
    assert len({each.change for each in found.changes}) == len(found.changes)
    for each in (found.as_it_was, *found.changes):
        assert each.low <= each.overtravel_mm <= each.high


def test_causes_in_count_or_reading_cannot_be_judged_by_their_cure(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example).replace(OVERRUN)
    log = traced(lift, tmp_path)
    assert named(study(log, lift, Cause.COUNTER_RESET), "travel guard").prevented is None
    assert named(study(log, lift, Cause.ELECTRICAL_NOISE), "two readings").prevented is None


def test_a_coasting_motor_is_told_to_brake(example: Lift, tmp_path: Path) -> None:
    changes = {"drive.when_off": "open", "routine.stop": "open", "lift.incline_deg": 60.0}
    lift = duty_lift(example).replace(OVERRUN | changes)
    found = study(traced(lift, tmp_path), lift)
    brake = named(found, "shorted (brake) instead of open")
    assert brake.overtravel_mm < found.as_it_was.overtravel_mm


def test_the_same_seed_gives_the_same_numbers(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example).replace(OVERRUN)
    log = traced(lift, tmp_path)
    assert study(log, lift) == study(log, lift)


def test_without_a_fit_the_intervals_are_wider(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example).replace(OVERRUN)
    log = traced(lift, tmp_path)
    visit = diagnose(log, lift, limit_mm=LIMIT_MM).bad_visit
    assert visit is not None
    plain = what_if(track_of(log), visit, lift, limit_mm=LIMIT_MM)
    assert plain is not None
    told = study(log, lift).as_it_was
    assert plain.as_it_was.high - plain.as_it_was.low > told.high - told.low


def test_a_log_without_commands_has_no_what_if(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example).replace(OVERRUN)
    log = traced(lift, tmp_path)
    visit = diagnose(log, lift, limit_mm=LIMIT_MM).bad_visit
    assert visit is not None
    bare = replace(log, values={role: v for role, v in log.values.items() if role.value != "command"})
    assert what_if(track_of(bare), visit, lift, limit_mm=LIMIT_MM) is None


def test_a_later_stop_is_the_logged_one_moved(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example).replace(OVERRUN)
    log = traced(lift, tmp_path)
    visit, read = diagnose(log, lift, limit_mm=LIMIT_MM).bad_visit, channels(log, lift)
    assert visit is not None
    assert read is not None
    approach = approach_of(track_of(log), visit, read.duty, read.bus_v, ramps=False)
    assert approach is not None
    assert np.isfinite(approach.changed_s)
    told = commands_for(approach, None, approach.changed_s)
    np.testing.assert_allclose(told, approach.commands)
    later = commands_for(approach, None, approach.changed_s + 0.1)
    np.testing.assert_allclose(later[-1, 0] - told[-1, 0], 0.1)
    assert np.isinf(commands_for(approach, -0.1, np.inf)[:, 0]).sum() == 0


@needs_datasets
@pytest.mark.parametrize("name", ["p02", "p06", "p07", "p15"])
def test_practice_overruns_come_out_as_logged(name: str) -> None:
    """Late loops, a stale reading and a slipped hub of another simulator: the plant explains them all."""
    truth = json.loads((PRACTICE / "truth.json").read_text())[f"{name}_log"]
    lift = load_lift(PRACTICE / truth["lift"])
    columns = LogColumns.from_lift(lift.log, lift.source) if lift.log else None
    log = read_log(PRACTICE / truth["log"], columns).scaled(lift.drive.mm_per_count)
    limit_mm = truth["overtravel_limit_mm"]
    visit = diagnose(log, lift, limit_mm=limit_mm).bad_visit
    assert visit is not None
    found = what_if(track_of(log), visit, lift, limit_mm=limit_mm, fit=fit_logs([log], lift))
    assert found is not None
    assert abs(found.model_error_mm) < 3.0
