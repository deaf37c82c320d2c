"""Margin maps: short cuts that change nothing, a margin that means what it says, cells that cannot be."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from homing.assembly import assemble
from homing.compare.candidates import moved
from homing.compare.judged import Means, judged
from homing.kernel.layout import RESULT_COLUMNS
from homing.liftfile import Lift
from homing.maps.axes import PERIOD_KEY, SPEED_KEY, Axis, axes_of
from homing.maps.cells import (
    LEAST_MARGIN,
    counted_worst,
    hard_runs,
    merged,
    run_margins,
    strip_of,
)
from homing.maps.study import margin_map, margin_maps
from homing.measures import metrics
from homing.requirements import requirements_for
from homing.setting import prepare
from homing.simulate import run_block

RUNS = np.arange(40, dtype=np.int64)
MOUNT, GAP = "sensor.bottom.mount_mm", "sensor.bottom.gap_mm"


def changed(lift: Lift, **sensor: Any) -> Lift:
    """The lift with another sensor in the place of its own, without tolerances for it."""
    given = {key: value for key, value in lift.given.items() if key != "tolerances"}
    return assemble({**given, "sensor": [{"name": "bottom", **sensor}]}, "changed.toml")


def the_long_way(lift: Lift) -> np.ndarray[Any, Any]:
    """Margins of the same runs, with nothing shared."""
    rows = run_block(prepare(lift, 0), RUNS)
    moving = rows[:, RESULT_COLUMNS.index("moving_at_end")] > 0.0
    return run_margins(lift, metrics(rows, lift), moving)


def alike(first: np.ndarray[Any, Any], second: np.ndarray[Any, Any]) -> float:
    """Share of the runs whose margins differ by less than a hundredth of a limit."""
    both = [np.where(np.isinf(each), 9.0, each) for each in (first, second)]
    return float((np.abs(both[0] - both[1]).max(axis=0) < 0.01).mean())


def test_merged_lift_is_the_one_changed_twice(example: Lift) -> None:
    near, high = moved(example, {GAP: 2.0}), moved(example, {MOUNT: 20.0})
    both, twice = merged(example, near, high), moved(near, {MOUNT: 20.0})
    assert both.quantities() == twice.quantities()
    assert both.tolerances == twice.tolerances


def test_cell_with_another_speed_is_run_for_run_the_long_way(example: Lift) -> None:
    strip = strip_of(example, 0, None, RUNS)
    fast = moved(example, {SPEED_KEY: 260.0})
    assert strip is not None
    cell = strip.cell(merged(example, example, fast))
    assert cell is not None
    np.testing.assert_array_equal(strip.margins(cell), the_long_way(fast))


def test_cell_with_a_moved_sensor_is_almost_run_for_run_the_long_way(example: Lift) -> None:
    """The long way tabulates the moved sensor anew; a run or two may then take another turn."""
    strip = strip_of(moved(example, {MOUNT: 30.0}), 0, None, RUNS)
    low = moved(example, {MOUNT: 4.0})
    assert strip is not None
    cell = strip.cell(low)
    assert cell is not None
    assert alike(strip.margins(cell), the_long_way(low)) >= 0.95


def test_sensor_that_trips_below_the_stop_is_no_cell(example: Lift) -> None:
    strip = strip_of(example, 0, None, RUNS)
    assert strip is not None
    trip_mm = strip.setting.trip_m * 1e3
    below = moved(example, {MOUNT: example.quantities()[MOUNT] - trip_mm - 0.5})
    assert strip.cell(below) is None


def test_margin_is_the_share_of_the_limit_that_is_left(example: Lift) -> None:
    found = {each.name: np.zeros(4) for each in requirements_for(example)}
    limit = example.requirements.overtravel_mm
    found["overtravel_mm"] = np.array([0.0, limit, 1.5 * limit, 9.0 * limit])
    margins = run_margins(example, found, np.zeros(4, dtype=bool))
    names = [each.name for each in requirements_for(example)]
    assert margins[names.index("overtravel_mm")] == pytest.approx([1.0, 0.0, -0.5, LEAST_MARGIN])
    # none may happen: kept it says nothing
    assert np.isposinf(margins[names.index("accepted_false_triggers")]).all()


def test_sign_of_a_zero_error_does_not_count(example: Lift) -> None:
    found = {each.name: np.zeros(2) for each in requirements_for(example)}
    found["zero_error_mm"] = np.array([-0.5, 0.5]) * example.requirements.zero_error_mm
    names = [each.name for each in requirements_for(example)]
    margins = run_margins(example, found, np.zeros(2, dtype=bool))
    assert margins[names.index("zero_error_mm")] == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize("name", ["time_to_zero_s", "accepted_false_triggers", "moving_at_end"])
def test_what_may_not_be_has_no_margin(example: Lift, name: str) -> None:
    found = {each.name: np.zeros(1) for each in requirements_for(example)}
    found[name] = np.array([np.nan if name == "time_to_zero_s" else 1.0])
    margins = run_margins(example, found, np.array([name == "moving_at_end"]))
    names = [each.name for each in requirements_for(example)]
    assert margins[names.index(name), 0] == LEAST_MARGIN


def test_second_worst_run_counts() -> None:
    margins = np.array([[0.9, 0.1, 0.5], [0.2, 0.8, -1.0]])
    assert counted_worst(margins) == (0.1, 0)


def test_every_worst_run_comes_before_any_second_worst() -> None:
    orders = [np.array([7, 1, 2]), np.array([9, 7, 3])]
    assert hard_runs(orders, 2).tolist() == [7, 9]
    assert hard_runs(orders, 3).tolist() == [1, 7, 9]


def speed_and_height(lift: Lift) -> tuple[Axis, Axis]:
    x = Axis(SPEED_KEY, "speed", "approach speed", "mm/s", 180.0, np.array([180.0, 450.0]))
    y = Axis(MOUNT, "height", "mounting height", "mm", 15.0, np.array([-40.0, 15.0, 25.0]))
    return x, y


@pytest.fixture(scope="module")
def small_map(example: Lift) -> Any:
    told: list[tuple[str, int, int]] = []
    found = margin_map(
        example, *speed_and_height(example), workers=2, progress=lambda *each: told.append(each)
    )
    return found, told


def test_map_holds_where_verify_does_and_fails_where_it_fails(example: Lift, small_map: Any) -> None:
    found, _ = small_map
    assert found.margin[1, 0] > 0.05
    assert found.margin[1, 1] < -0.05
    assert judged(example, 600, Means()).passed
    assert not judged(moved(example, {SPEED_KEY: 450.0}), 600, Means()).passed


def test_never_made_is_not_a_number_and_has_no_worst(small_map: Any) -> None:
    found, _ = small_map
    assert np.isnan(found.margin[0]).all()
    assert (found.worst[0] == -1).all()
    assert np.isfinite(found.margin[1:]).all()
    assert (found.worst[1:] >= 0).all()


def test_map_does_not_depend_on_the_number_of_threads(example: Lift, small_map: Any) -> None:
    alone = margin_map(example, *speed_and_height(example), workers=1)
    assert alone.margin.tobytes() == small_map[0].margin.tobytes()
    assert alone.worst.tobytes() == small_map[0].worst.tobytes()


def test_progress_ends_at_all(small_map: Any) -> None:
    _, told = small_map
    assert [each[1:] for each in told] == [(1, 3), (2, 3), (3, 3)]


def test_measured_periods_are_stretched_along_an_axis_of_periods(example: Lift) -> None:
    """Loops as the file has them and the same loops measured give the same map, up to jitter."""
    still = moved(example, {"controller.jitter_ms": 0.0, "controller.late_loop_probability": 0.0})
    x = Axis(SPEED_KEY, "speed", "approach speed", "mm/s", 180.0, np.array([180.0, 240.0]))
    y = Axis(PERIOD_KEY, "period", "loop period", "ms", 20.0, np.array([20.0, 40.0]))
    measured = np.full(50, still.controller.period_ms * 1e-3)
    first, second = margin_map(still, x, y), margin_map(still, x, y, periods_s=measured)
    np.testing.assert_allclose(first.margin, second.margin, atol=0.05)


def test_axes_of_a_magnet_that_slides_by(example: Lift) -> None:
    pairs = [(x.short, y.short) for x, y in axes_of(example, 4, {})]
    assert pairs == [("gap", "height"), ("speed", "height"), ("speed", "period")]


def test_axes_of_a_contact_have_no_gap(example: Lift) -> None:
    switch = changed(example, kind="contact", mount_mm=15, overtravel_to_damage_mm=40)
    assert [(x.short, y.short) for x, y in axes_of(switch, 4, {})] == [
        ("speed", "height"),
        ("speed", "period"),
    ]


def test_hard_stop_has_no_height(example: Lift) -> None:
    assert [(x.short, y.short) for x, y in axes_of(changed(example, kind="stall"), 4, {})] == [
        ("speed", "period")
    ]


def test_head_on_the_gap_is_the_height(example: Lift) -> None:
    head_on = changed(
        example,
        part="hall-omnipolar-6p9mt",
        approach="head_on",
        magnet={"shape": "disc", "diameter_mm": 15, "height_mm": 8, "grade": "N45"},
        mount_mm=0,
        gap_mm=4,
    )
    pairs = axes_of(head_on, 4, {})
    assert [(x.key, y.key) for x, y in pairs] == [(SPEED_KEY, GAP), (SPEED_KEY, PERIOD_KEY)]


def test_axis_reaches_what_was_advised(example: Lift) -> None:
    (_, height), *_ = axes_of(example, 5, {MOUNT: (90.0,)})
    assert height.values[-1] > 90.0
    assert height.values[0] < height.chosen


def test_axis_ends_where_a_lift_can_still_exist(example: Lift) -> None:
    late_ms = example.controller.late_loop_ms
    *_, (_, period) = axes_of(example, 5, {PERIOD_KEY: (10.0 * late_ms,)})
    assert 0.9 * late_ms < period.values[-1] < late_ms


def test_maps_of_a_sensor_never_made_are_empty(example: Lift) -> None:
    far = moved(example, {GAP: 80.0})
    axis = Axis(GAP, "gap", "gap", "mm", 80.0, np.array([70.0, 80.0]))
    found = margin_map(far, axis, replace(speed_and_height(far)[1], values=np.array([10.0, 20.0])))
    assert np.isnan(found.margin).all()
    assert found.runs == 0


@pytest.mark.slow
def test_every_map_of_the_example_has_its_chosen_point_on_the_holding_side(example: Lift) -> None:
    for found in margin_maps(example, cells=9):
        row = int(np.argmin(np.abs(found.y.values - found.y.chosen)))
        column = int(np.argmin(np.abs(found.x.values - found.x.chosen)))
        assert found.margin[row, column] > 0.0
