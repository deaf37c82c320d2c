"""Signed margins: negative exactly where a requirement fails, and never flat where it can be helped."""

from __future__ import annotations

import numpy as np
import pytest

from homing import load_lift
from homing.ensemble import converted
from homing.kernel.layout import RESULT_COLUMNS
from homing.requirements import failing, limit_of, values_of
from homing.setting import prepare
from homing.worst.cube import Cube
from homing.worst.margins import margins, searched


@pytest.fixture(scope="module")
def tight():
    """The example with limits which a good share of runs breaks."""
    limits = {"overtravel_mm": 7.0, "zero_error_mm": 0.5, "time_to_zero_s": 5.0, "peak_current_a": 5.0}
    return prepare(load_lift(None).replace({f"requirements.{key}": value for key, value in limits.items()}))


@pytest.fixture(scope="module")
def rows(tight):
    """Result rows of drawn runs, some without the metrics."""
    cube = Cube(tight)
    found = cube.simulate(np.random.default_rng(5).random((96, len(cube.nominal))))
    for name, row in (("time_to_zero_s", 0), ("zero_error_m", 1), ("overtravel_m", 2), ("slack_m", 3)):
        found[row, RESULT_COLUMNS.index(name)] = np.nan
    found[4, RESULT_COLUMNS.index("accepted_false_triggers")] = 2.0
    found[5, RESULT_COLUMNS.index("moving_at_end")] = 1.0
    return found


def test_negative_exactly_where_the_requirement_fails(tight, rows) -> None:
    wanted = searched(tight.lift, with_fault=False)
    ensemble = converted(tight, rows, np.zeros(len(rows), dtype=np.int8), {})
    found = margins(tight, rows, wanted)
    seen = 0
    for k, each in enumerate(wanted):
        bad = failing(each, values_of(each, ensemble), limit_of(tight.lift, each))
        assert np.array_equal(found[:, k] < 0.0, bad), each.name
        seen += int(bad.sum())
    assert seen > 50
    assert np.isfinite(found).all()


def test_a_run_never_zeroed_is_worse_than_any_that_was_and_worse_the_longer_it_tried(tight, rows) -> None:
    wanted = tuple(r for r in searched(tight.lift, with_fault=False) if r.name == "time_to_zero_s")
    never = rows[:3].copy()
    never[:, RESULT_COLUMNS.index("time_to_zero_s")] = np.nan
    never[:, RESULT_COLUMNS.index("end_s")] = (2.0, 8.0, 12.0)
    found = margins(tight, never, wanted)[:, 0]
    assert found.tolist() == pytest.approx([-1.0, -1.6, -2.4])  # limit 5 s


def test_impact_of_nothing_still_says_how_much_room_was_left(tight, rows) -> None:
    wanted = tuple(r for r in searched(tight.lift, with_fault=False) if r.name == "impact_speed_mm_s")
    two = rows[10:12].copy()
    two[:, RESULT_COLUMNS.index("impact_m_s")] = 0.0
    two[:, RESULT_COLUMNS.index("trip_m")] = 0.032
    two[:, RESULT_COLUMNS.index("stop_distance_m")] = (0.010, 0.030)
    shallow, deep = margins(tight, two, wanted)[:, 0]
    assert shallow > deep > 1.0


def test_with_a_fault_only_limits_of_safety_are_searched(tight) -> None:
    names = {each.name for each in searched(tight.lift, with_fault=True)}
    assert "time_to_zero_s" not in names
    assert {"overtravel_mm", "slack_mm", "moving_at_end"} <= names
