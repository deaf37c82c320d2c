"""What the search may move of an own table, and how a point becomes its numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ownlifts import own_text, small_text
from tuningcases import example_text, lift_of

from homing.cli import run
from homing.setting import prepare
from homing.tuning.knob import Knob, point_of, settings_at
from homing.tuning.knobs import knobs
from homing.tuning.settings import replace_routine, typed, values_of, with_settings

LIFT = lift_of(own_text())
OWN = knobs(LIFT)
points = st.lists(st.floats(0.0, 1.0), min_size=len(OWN), max_size=len(OWN)).map(np.array)


def by_key(text: str) -> dict[str, Knob]:
    return {knob.key: knob for knob in knobs(lift_of(text))}


def test_the_example_has_the_knobs_that_its_rows_name() -> None:
    assert [knob.key for knob in OWN] == [
        "phase.down.speed_mm_s",
        "phase.creep.speed_mm_s",
        "phase.up.speed_mm_s",
        "phase.leave.speed_mm_s",
        "row.3.when.made_times",
        "row.11.when.moved_out_mm",
        "row.20.when.standstill_ms",
        "row.29.when.released_by_mm",
    ]


@settings(deadline=None, max_examples=40)
@given(points)
def test_every_point_is_a_lift_that_can_be(point: np.ndarray) -> None:
    found = settings_at(OWN, point)
    lift = LIFT.replace({f"routine.{key}": value for key, value in typed(LIFT, found).items()})
    assert values_of(lift, found) == found
    # the short way to it, which checks nothing, comes to the same routine
    quick = replace_routine(LIFT, found)
    assert quick.own_routine == lift.own_routine
    assert quick.routine == lift.routine


@given(points)
def test_ways_and_their_order_stay(point: np.ndarray) -> None:
    found = settings_at(OWN, point)
    assert found["phase.down.speed_mm_s"] <= found["phase.creep.speed_mm_s"] < 0.0
    assert 0.0 < found["phase.leave.speed_mm_s"] <= found["phase.up.speed_mm_s"]


@given(points)
def test_what_was_equal_is_equal_and_counts_are_whole(point: np.ndarray) -> None:
    found = settings_at(OWN, point)
    for knob in OWN:
        assert {abs(found[key]) for key in knob.keys} == {abs(found[knob.key])}
    assert found["row.3.when.made_times"] == int(found["row.3.when.made_times"]) >= 2


@given(points)
def test_settings_and_points_go_both_ways(point: np.ndarray) -> None:
    found = settings_at(OWN, point)
    again = settings_at(OWN, point_of(OWN, found))
    for knob in OWN:
        assert abs(again[knob.key] - found[knob.key]) <= knob.step


def test_stopping_may_wait_for_fewer_readings_never_for_more() -> None:
    found = by_key(small_text())
    assert (found["row.4.when.made_times"].low, found["row.4.when.made_times"].high) == (1.0, 3.0)
    assert (found["row.8.when.made_times"].low, found["row.8.when.made_times"].high) == (2.0, 5.0)
    once = by_key(small_text({"when = [{ made_times = 3 }]": "when = [{ made_times = 1 }]"}))
    assert "row.4.when.made_times" not in once


def test_distances_stay_around_what_was_written_and_guards_are_no_knobs() -> None:
    found = by_key(small_text())
    assert (found["row.2.when.moved_out_mm"].low, found["row.2.when.moved_out_mm"].high) == (25.0, 100.0)
    assert not {key for key in found if key.startswith(("row.3.", "row.5.", "row.6.", "row.7."))}


@pytest.mark.parametrize(("when", "source", "moved"), [("0.4", "up", True), ("0.4", "rest", False)])
def test_a_time_is_moved_where_the_lift_moves(when: str, source: str, moved: bool) -> None:
    row = f'\n[[routine.row]]\nfrom = "{source}"\nwhen = [{{ in_phase_s = {when} }}]\nto = "down"\n'
    found = by_key(small_text({'do = ["zero_at_edge"]\n': f'do = ["zero_at_edge"]\n{row}'}))
    assert ("row.9.when.in_phase_s" in found) is moved


def test_a_height_is_moved_where_one_is_known() -> None:
    assert "row.8.unless.below_mm" not in by_key(small_text())
    known = by_key(small_text({'sensor = "bottom"': 'sensor = "bottom"\nreferenced_at_start = true'}))
    assert known["row.8.unless.below_mm"].low == 0.0
    on_the_way = by_key(small_text({'do = ["capture_edge"]': 'do = ["zero_here"]'}))
    assert "row.8.unless.below_mm" in on_the_way


def test_a_duty_keeps_its_way_and_ends_at_the_whole_voltage() -> None:
    text = small_text({"{ speed_mm_s = -60 }": "{ duty = -0.4 }"})
    lift = lift_of(text)
    (knob,) = (knob for knob in knobs(lift) if knob.key == "phase.down.duty")
    assert knob.settings(knob.at(1.0)) == {"phase.down.duty": -1.0}
    assert knob.settings(knob.at(0.0)) == {"phase.down.duty": -0.03}
    assert with_settings(prepare(lift), {"phase.down.duty": -1.0}).table.phase("down").command.value == -1.0


def test_a_lift_that_feels_for_its_stop_has_its_answer_moved() -> None:
    head, _, rest = small_text().partition("[[sensor]]")
    stall = '[[sensor]]\nname = "bottom"\nkind = "stall"\n'
    lift = lift_of(head + stall + rest[rest.index("[routine]") : rest.index("[requirements]")])
    found = {knob.key for knob in knobs(lift)}
    assert "no_motion_ms" in found
    assert with_settings(prepare(lift), {"no_motion_ms": 120.0}).no_motion_s == pytest.approx(0.12)


def test_without_a_number_there_is_nothing_to_tune(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    routine = """[routine]
[[routine.phase]]
name = "idle"
role = "start"
command = "stop"
[[routine.phase]]
name = "home"
role = "zeroed"
command = "stop"
[[routine.row]]
from = "idle"
when = ["start_requested"]
to = "home"
"""
    head, _, rest = example_text().partition("[routine]")
    Path("still.toml").write_text(head + routine + rest[rest.index("[requirements]") :])
    assert run(["tune", "still.toml"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "still.toml, [[routine.phase]] must have a number that can be tuned" in err
