"""Requirements of a team's own while tuning: they must hold, and nothing that breaks one is chosen."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from tuningcases import cut_short, example_text, lift_of

from homing.liftfile import Lift
from homing.ownrequirements.judging import judge_own
from homing.players import TablePlayer
from homing.report.tune_rows import headline
from homing.setting import prepare
from homing.simulate import nominal_run
from homing.tuning.results import Tuning
from homing.tuning.study import tune
from homing.tuning.trials import Trials
from sensor_models.errors import InputError

pytest.importorskip("rtamt")

#: Slower than the example's fast speed of 180 mm/s.
NEVER_FAST = "always (carriage_mm_s > -150)"


def lift_with(formula: str) -> Lift:
    return lift_of(
        example_text() + f'\n[[requirement]]\nname = "ours"\nformula = "{formula}"\nunit = "mm/s"\n'
    )


def tuned(formula: str, **options: int) -> Tuning:
    return tune(lift_with(formula), runs=600, **{"evaluations": 33, **options})


@pytest.fixture
def shorter(monkeypatch: pytest.MonkeyPatch, short: None) -> None:
    monkeypatch.setattr("homing.tuning.choice.OWN_FRONT_RUNS", 100)


@pytest.mark.slow
@pytest.mark.usefixtures("shorter")
def test_what_the_file_breaks_holds_afterwards_and_on_another_seed() -> None:
    tuning = tuned(NEVER_FAST)
    before, after = tuning.before.requirements[-1], tuning.after.requirements[-1]
    assert before.name == after.name == "ours"
    assert not before.passed
    assert tuning.found
    assert after.passed
    assert after.failures == 0
    assert tuning.settings["fast_speed_mm_s"] <= 150.0
    assert "all 9 requirements" in headline(tuning)
    setting = prepare(tuning.after.lift, seed=98765)
    (again,) = judge_own(TablePlayer(setting), nominal_run(setting), 300)
    assert again.passed
    # a formula has no limit to be a share of, so that it is not what the margin is measured by
    assert tuning.after.point.active != "ours"
    assert "Requirements of your own (ours)" in " ".join(tuning.notes)
    drift = {each.key: each for each in tuning.drift}
    assert drift["fast_speed_mm_s"].high.blocks == "ours"


@pytest.mark.usefixtures("shorter")
def test_one_that_nothing_meets_blocks() -> None:
    tuning = tuned("always (carriage_mm > 1000)", evaluations=9)
    assert not tuning.found
    assert tuning.front == ()
    assert tuning.blocking is not None
    assert tuning.blocking.name == "ours"
    assert "ours blocks, 100 % of 600 runs fail" in headline(tuning)


def test_a_formula_is_asked_where_all_others_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def counted(player: TablePlayer, nominal: object, runs: int) -> tuple[()]:
        asked.append(runs)
        return ()

    monkeypatch.setattr("homing.tuning.trials.judge_own", counted)
    setting = prepare(lift_with(NEVER_FAST))
    with ThreadPoolExecutor(1) as pool:
        trials = Trials(setting, (), np.arange(64, dtype=np.int64), pool, fixed=())
        for settings, times in (({}, 1), ({"fast_speed_mm_s": 700.0}, 1), ({"fast_speed_mm_s": 170.0}, 2)):
            ((results, _),) = trials.judged([settings])
            trials.with_own(settings, results, 24)
            assert asked == [24] * times


def test_trials_that_break_one_are_told_apart_by_how_often(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search climbs towards fewer broken runs; beside it every point that holds is better."""
    from homing.tuning.knob import Knob

    cut_short(monkeypatch)
    speed = Knob("fast_speed_mm_s", 100.0, 200.0, 1.0)
    setting = prepare(lift_with(NEVER_FAST))
    with ThreadPoolExecutor(1) as pool:
        trials = Trials(
            setting, (speed,), np.arange(128, dtype=np.int64), pool, {"timeout_s": 20.0}, fixed=()
        )
        _, margins = trials(np.array([[speed.share(value)] for value in (120.0, 135.0, 150.0)]))
    assert margins[0] > 0.0 > margins[1] > margins[2] >= -1.0


def test_without_the_library_it_is_refused_before_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setitem(sys.modules, "rtamt", None)
    with pytest.raises(InputError, match="needs the library rtamt"):
        tune(
            lift_with(NEVER_FAST), runs=300, evaluations=9, progress=lambda what, done, of: told.append(what)
        )
    assert told == []
