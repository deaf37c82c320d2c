"""An own table tuned: as well as the built-in one, and from bad numbers to ones that hold."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ownlifts import BAD_NUMBERS, own_text, written_out
from rich.console import Console
from tuningcases import BAD, cut_short, example_text, lift_of

from homing.cli import run
from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.liftfile import Lift
from homing.own.numbers import numbers
from homing.report.jsonform import to_text
from homing.report.tune_json import tuning_json
from homing.report.tune_page import write_tune_report
from homing.report.tune_rows import setting_rows
from homing.report.tune_terminal import show_tuning
from homing.requirements import judge
from homing.review import review_setting
from homing.setting import prepare
from homing.tuning.knob import Knob
from homing.tuning.knobs import knobs
from homing.tuning.newfile import tuned_text
from homing.tuning.results import Stopped, Tuning
from homing.tuning.settings import values_of
from homing.tuning.study import tune

#: What a setting of the built-in sequence is in a table that is written out.
WRITTEN_AS = {
    "fast_speed_mm_s": "speed_mm_s",
    "creep_speed_mm_s": "speed_mm_s",
    "back_off_mm": "released_by_mm",
    "settle_ms": "standstill_ms",
    "agree_readings": "made_times",
}


def same_knobs(builtin: Lift, own: Lift) -> tuple[Knob, ...]:
    """The knobs of the built-in sequence, each on every number of the table that stands for it."""
    assert own.own_routine is not None
    found = {key.removeprefix("routine."): value for key, value in numbers(own.own_routine)}
    made: list[Knob] = []
    for knob in knobs(builtin):
        value = getattr(builtin.routine, knob.key)
        keys = [
            (key, float(np.sign(number)))
            for key, number in found.items()
            if abs(number) == value and key.endswith(WRITTEN_AS[knob.key])
        ]
        under = made[0].key if knob.under else ""
        made.append(replace(knob, key=keys[0][0], sign=keys[0][1], also=tuple(keys[1:]), under=under))
    return tuple(made)


def test_the_built_in_table_written_out_is_tuned_to_the_same_answer(
    mended: Tuning, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same knobs give the same trials to the last bit; guards are out of the search in both."""
    cut_short(monkeypatch)
    own = written_out(example_text(BAD))
    same = same_knobs(mended.lift, own)
    monkeypatch.setattr("homing.tuning.study.knobs", lambda lift: same)
    found = tune(own, runs=1000, evaluations=41)
    assert found.found
    assert repr(found.trials) == repr(mended.trials)
    assert found.after.point.margin == mended.after.point.margin
    assert found.after.point.time_to_zero_s == mended.after.point.time_to_zero_s
    assert [abs(found.settings[knob.key]) for knob in same] == [
        mended.settings[knob.key] for knob in knobs(mended.lift)
    ]


def test_bad_numbers_are_mended_and_hold_on_yet_another_seed(own_mended: Tuning) -> None:
    assert own_mended.found
    assert not own_mended.before.passed
    assert own_mended.after.passed
    setting = prepare(own_mended.after.lift, seed=98765)
    indices = np.arange(1000, dtype=np.int64)
    ensemble = as_ensemble(setting, indices, run_many(setting, indices))
    assert all(result.passed for result in judge(setting.lift, nominal_ensemble(setting), ensemble))
    assert own_mended.after.unsafe_share < own_mended.before.unsafe_share


def test_before_is_the_file_and_after_differs_in_the_settings_alone(own_mended: Tuning) -> None:
    assert own_mended.before.lift.own_routine == own_mended.lift.own_routine
    after = own_mended.after.lift
    assert values_of(after, own_mended.settings) == own_mended.settings
    old, new = own_mended.lift.quantities(), after.quantities()
    moved = {key.removeprefix("routine.") for key in old if old[key] != new[key]}
    assert moved <= set(own_mended.settings)
    assert sorted(key for keys in own_mended.groups for key in keys) == sorted(own_mended.settings)


def test_the_tuned_table_is_still_sound(own_mended: Tuning) -> None:
    """A time-out cut by rule or readings raised must not open a hole in the logic."""
    found = review_setting(prepare(own_mended.after.lift), cases=False)
    assert found.findings == ()
    assert found.exploration.complete
    assert found.exploration.violations == ()


def test_a_drift_moves_all_that_is_one_setting(own_mended: Tuning) -> None:
    drift = {each.key: each for each in own_mended.drift}
    down = drift["phase.down.speed_mm_s"]
    assert 0.0 > down.low.value >= down.value >= down.high.value
    assert set(drift) == {keys[0] for keys in own_mended.groups}
    for each in own_mended.drift:
        assert abs(each.low.value) <= abs(each.value) <= abs(each.high.value)


def test_guards_that_are_only_raised_say_so(own_mended: Tuning) -> None:
    guards = {guard.key: guard for guard in own_mended.guards}
    leaving = guards["row.30.when.moved_out_mm"]
    assert leaving.value >= 150.0
    assert leaving.kept is (leaving.value == 150.0)
    assert guards["row.7.when.in_phase_s"].value > 2.0


def test_the_new_file_is_the_old_one_with_the_numbers(own_mended: Tuning) -> None:
    old = own_text(BAD_NUMBERS)
    new = tuned_text(own_mended, old)
    lift = lift_of(new)
    assert lift.given == own_mended.after.lift.given
    assert "; as fast as it goes" in new
    assert "never certifies" in new
    changed = [
        (a, b)
        for a, b in zip(old.splitlines(), new.splitlines()[-len(old.splitlines()) :], strict=True)
        if a != b
    ]
    assert changed
    for a, b in changed:
        assert a.startswith(("command", "when", "unless"))
        assert "tuned, was" in b or "by rule: " in b
    assert "\r\n" in tuned_text(own_mended, old.replace("\n", "\r\n"))


def test_words_name_phases_rows_and_ways(own_mended: Tuning) -> None:
    rows = {row.title: row for row in setting_rows(own_mended)}
    assert {"down: speed in", "creep: speed in", "leave: released by", "rest, judge: standstill"} <= set(rows)
    assert rows["down: speed in"].before == "600"
    assert "rows 20, 21, 22, 39, 40, 41, 42" in rows["rest, judge: standstill"].meaning
    assert rows["leave: moved out"].meaning.startswith("guard: ")
    told = " ".join(own_mended.notes)
    assert "Equal numbers of one kind" in told
    assert "retries_used 2" in told
    assert "slow_zone_mm" not in told


def test_json_tells_what_is_one_value(own_mended: Tuning) -> None:
    told: dict[str, Any] = json.loads(to_text(tuning_json(own_mended, Path("new.toml"))))
    assert told["settings"]["phase.down.speed_mm_s"] < 0
    assert told["one_value"][-1][:2] == ["row.12.when.not_moving_ms", "row.17.when.not_moving_ms"]
    for keys in told["one_value"]:
        assert {abs(told["settings"][key]) for key in keys} == {abs(told["settings"][keys[0]])}
    assert isinstance(told["settings"]["row.3.when.made_times"], int)


def test_terminal_and_page_take_it(own_mended: Tuning, tmp_path: Path) -> None:
    stream = io.StringIO()
    show_tuning(own_mended, Path("new.toml"), Console(file=stream, width=100))
    text = stream.getvalue()
    assert max(map(len, text.splitlines())) <= 100
    assert "down  creep" in text
    page = write_tune_report(own_mended, tmp_path / "report", Path("new.toml")).read_text(encoding="utf-8")
    assert "leave: released by" in page
    assert (tmp_path / "report" / "drift.svg").exists()


@pytest.mark.usefixtures("short")
def test_the_command_writes_a_file_that_verifies(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("own.toml").write_text(own_text(BAD_NUMBERS))
    before = Path("own.toml").read_bytes()
    assert run(["tune", "own.toml", "--evaluations", "33", "--runs", "300", "--quiet"]) == 0
    assert Path("own.toml").read_bytes() == before
    assert capsys.readouterr().out.endswith("own.tuned.toml\n")
    assert run(["verify", "own.tuned.toml", "--runs", "598", "--seed", "1", "--quiet"]) == 0


@pytest.mark.usefixtures("short")
def test_an_interrupted_search_still_answers() -> None:
    rounds: list[str] = []

    def impatient(what: str, done: int, of: int) -> None:
        rounds.append(what)
        if rounds == ["searching (trials)"] * 2:
            raise KeyboardInterrupt

    tuning = tune(lift_of(own_text()), runs=300, evaluations=10**6, progress=impatient)
    assert tuning.stopped is Stopped.INTERRUPTED
    assert len(tuning.after.ensemble) >= 598
    assert tuning.found is tuning.after.passed
