"""Timing as searched numbers: what each does to a run, and corners that only timing brings about."""

from __future__ import annotations

import numpy as np
import pytest

from homing import load_lift
from homing.ensemble import run_many
from homing.kernel.layout import RESULT_COLUMNS, RUN, SENSE, scratch
from homing.kernel.setup import set_up_sense
from homing.report.worst_words import late_loops_s, worst_lines
from homing.setting import prepare
from homing.simulate import nominal_run
from homing.worst.aims import Aims, run_of
from homing.worst.case import case_margin, case_text, play
from homing.worst.casefile import as_case, read_case
from homing.worst.cube import Cube
from homing.worst.study import worst_case
from homing.worst.timing import (
    LATE_LOOP,
    LATE_PLACE,
    LOOP_LENGTH,
    LOOP_PHASE,
    SAMPLING_PHASE,
    LateLoop,
    Timing,
    may_be_late,
    searched_timing,
)

PERIOD_S, LATE_S = 0.02, 0.12  # of the example


@pytest.fixture(scope="module")
def setting():
    return prepare(load_lift(None))


def played(setting, **timing):
    """The nominal run with this timing, its loops otherwise as written."""
    cube = Cube(setting)
    point = cube.nominal.copy()
    for name, share in timing.items():
        point[
            cube.place_of(
                {"phase": LOOP_PHASE, "length": LOOP_LENGTH, "late": LATE_LOOP}.get(name, LATE_PLACE)
            )
        ] = (share + 0.5) / len(LateLoop) if name == "late" else share
    return run_of(setting, cube.batch(point[None, :]), 0)


def loops(run):
    return np.diff(np.concatenate([[0.0], run.trace["t_s"]]))


@pytest.mark.parametrize(
    ("late", "place"),
    [
        (LateLoop.FIRST_IN, 0.5),
        (LateLoop.FIRST_IN, 0.9),
        (LateLoop.SECOND_IN, 0.5),
        (LateLoop.SECOND_OUT, 0.6),
    ],
)
def test_a_late_loop_begins_where_the_lift_passes_the_height(setting, late: LateLoop, place: float) -> None:
    run = played(setting, late=late, place=place)
    number = int(np.argmax(loops(run)))
    assert loops(run)[number] == pytest.approx(LATE_S)
    assert np.delete(loops(run), number) == pytest.approx(PERIOD_S)
    # fast speed, 180 mm/s: a loop's way above the trip, give or take a late loop's
    height_mm = setting.trip_m * 1e3 + 180.0 * PERIOD_S + (2.0 * place - 1.0) * 180.0 * LATE_S
    before_mm, begin_mm = run.trace["carriage_mm"][number - 2 : number]
    assert (begin_mm - height_mm) * late.way >= 0.0 > (before_mm - height_mm) * late.way


def test_the_second_way_in_is_later_than_the_first(setting) -> None:
    first, second = (
        late_loops_s(played(setting, late=late, place=0.5), setting.lift)
        for late in (LateLoop.FIRST_IN, LateLoop.SECOND_IN)
    )
    assert len(first) == len(second) == 1
    assert second[0][0] > first[0][1]


def test_a_late_loop_at_a_time_begins_then(setting) -> None:
    limit_s = setting.lift.requirements.time_to_zero_s
    run = played(setting, late=LateLoop.AT_A_TIME, place=0.2)
    ((begin_s, end_s),) = late_loops_s(run, setting.lift)
    assert 0.2 * limit_s <= begin_s < 0.2 * limit_s + PERIOD_S
    assert end_s - begin_s == pytest.approx(LATE_S)


def test_the_phase_shortens_the_first_loop_only(setting) -> None:
    lengths = loops(played(setting, phase=0.3))
    assert lengths[0] == pytest.approx(0.7 * PERIOD_S)
    assert lengths[1:] == pytest.approx(PERIOD_S)


@pytest.mark.parametrize(("share", "expected_s"), [(0.0, 0.011), (0.5, 0.020), (0.75, 0.0245), (1.0, 0.029)])
def test_every_loop_is_longer_by_its_share_of_the_jitter(setting, share: float, expected_s: float) -> None:
    # the jitter's standard deviation is 3 ms, and it never goes beyond three of them
    assert loops(played(setting, length=share)) == pytest.approx(expected_s)


def test_no_loop_leaves_the_bounds_of_the_jitter(setting) -> None:
    cube = Cube(setting)
    points = np.random.default_rng(1).random((12, len(cube.nominal)))
    points[:, cube.place_of(LATE_LOOP)] = points[:, cube.place_of(LOOP_PHASE)] = 0.0
    made = cube.batch(points)
    made.runs.late_probability = 0.0
    for row in range(12):
        lengths = loops(run_of(setting, made, row))
        assert lengths.min() >= 0.011 - 1e-9
        assert lengths.max() <= 0.029 + 1e-9
        assert lengths.std() > 1e-4  # what the run number draws is still in them


def test_the_sampling_begins_later_by_its_share() -> None:
    run, sense = scratch(RUN)[0], scratch(SENSE)[0]
    run.sample_period_s, run.sample_shift = 0.02, 0.5
    set_up_sense(run, sense, 0.7)
    assert sense.next_sample_s == pytest.approx(0.004)


def test_only_what_can_differ_is_searched(setting) -> None:
    lift, every = setting.lift, {LOOP_PHASE, LOOP_LENGTH, LATE_LOOP, LATE_PLACE}
    assert set(searched_timing(setting)) == every
    never_late = prepare(lift.replace({"controller.late_loop_probability": 0.0}))
    assert set(searched_timing(never_late)) == {LOOP_PHASE, LOOP_LENGTH}
    assert "Late loops were not searched" in "\n".join(
        worst_lines(worst_case(never_late, runs=50, workers=1))
    )
    even = prepare(lift.replace({"controller.jitter_ms": 0.0}))
    assert set(searched_timing(even)) == every - {LOOP_LENGTH}
    sampled = prepare(lift.replace({"sensor.bottom.sample_period_ms": 20.0}))
    assert set(searched_timing(sampled)) == every | {SAMPLING_PHASE}


def test_loops_measured_in_a_log_give_the_length_of_the_late_one(setting) -> None:
    even, late = np.full(50, 0.02), np.append(np.full(49, 0.02), 0.25)
    assert not may_be_late(prepare(setting.lift, periods_s=even))
    measured = prepare(setting.lift, periods_s=late)
    assert set(searched_timing(measured)) == {LOOP_PHASE, LATE_LOOP, LATE_PLACE}
    assert loops(played(measured, late=LateLoop.FIRST_IN, place=0.5)).max() == pytest.approx(0.25)


def test_timing_and_shares_are_one_another(setting) -> None:
    for late in LateLoop:
        timing = Timing(0.25, 0.125, 0.75, late, 0.375)
        assert Timing.of(timing.shares()[0]) == timing


@pytest.fixture(scope="module")
def rarely_late():
    """The example with a limit which a healthy loop keeps by far, and one loop in a million late."""
    changes = {"requirements.overtravel_mm": 20.0, "controller.late_loop_probability": 1e-6}
    return prepare(load_lift(None).replace(changes))


@pytest.fixture(scope="module")
def found(rarely_late):
    return worst_case(rarely_late, runs=1500, workers=1)


def test_finds_an_overtravel_that_only_a_late_loop_makes(rarely_late, found) -> None:
    rows = run_many(rarely_late, np.arange(1500))
    assert rows[:, RESULT_COLUMNS.index("overtravel_m")].max() < 0.015
    untimed = Cube(rarely_late, searched=())
    points = np.random.default_rng(0).random((1500, len(untimed.nominal)))
    assert untimed.simulate(points)[:, RESULT_COLUMNS.index("overtravel_m")].max() < 0.015
    assert found.fails
    assert found.case.requirement == "overtravel_mm"
    assert (
        nominal_run(rarely_late).metrics["overtravel_mm"] < 15.0 < 20.0 < found.run.metrics["overtravel_mm"]
    )


def test_shrinks_it_to_the_late_loop_alone(found) -> None:
    assert [each.what for each in found.departures] == [LATE_LOOP]
    assert "120 ms, on the first way in" in found.departures[0].value


def test_the_case_file_plays_the_very_loops(rarely_late, found, tmp_path) -> None:
    file = tmp_path / "case.toml"
    file.write_text(case_text(found.case), encoding="utf-8")
    again = as_case(read_case(file), rarely_late.lift, str(file))
    assert again == found.case
    assert case_margin(Aims.named(rarely_late, "overtravel_mm"), again) == found.margin
    assert np.array_equal(play(rarely_late, again).trace["t_s"], found.run.trace["t_s"])
    assert len(late_loops_s(found.run, rarely_late.lift)) == 1
