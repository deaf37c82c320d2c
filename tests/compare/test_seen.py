"""Will it be seen: the closed form against window / (v T), a scan of phases, a long timeline, and the
simulation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from comparelifts import DISC, lift_of, lift_with

from homing.compare.candidate import seen_at
from homing.compare.responses import responses_of
from homing.compare.seen import Loops, dwell_s, loops_of, seen_in_one_pass
from homing.draws import Start, draw
from homing.ensemble import run_many
from homing.kernel.codes import Reason
from homing.kernel.layout import RESULT_COLUMNS
from homing.setting import prepare

CONSTANT = Loops(np.array([0.020]), np.array([1.0]))


@pytest.mark.parametrize(
    ("window_mm", "speed_mm_s", "expected"),
    [(2.0, 200.0, 0.5), (4.0, 200.0, 1.0), (9.0, 200.0, 1.0), (1.0, 500.0, 0.1)],
)
def test_constant_loops_give_window_over_speed_times_period(
    window_mm: float, speed_mm_s: float, expected: float
) -> None:
    # the trade's rule: P = min(1, w / (v T)), T = 20 ms
    found = seen_in_one_pass(np.array([window_mm / speed_mm_s]), 0.0, CONSTANT)[0]
    assert found == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("sample_ms", [5.0, 12.5, 20.0, 33.0, 50.0])
@pytest.mark.parametrize("dwell_ms", [3.0, 11.0, 20.0, 37.0, 60.0, 120.0])
def test_sampled_sensors_agree_with_a_scan_of_all_phases(sample_ms: float, dwell_ms: float) -> None:
    found = float(seen_in_one_pass(np.array([dwell_ms / 1e3]), sample_ms / 1e3, CONSTANT)[0])
    # every phase of the sampling against the window, every phase of the loop against the sampling
    cells = 400
    hits = 0
    for phase in (np.arange(cells) + 0.5) / cells:
        first = phase * sample_ms
        inside = 0 if first >= dwell_ms else math.ceil((dwell_ms - first) / sample_ms)
        made_ms = inside * sample_ms
        waits = (np.arange(cells) + 0.5) / cells * 20.0
        hits += int(np.sum(waits < made_ms))
    assert found == pytest.approx(hits / cells**2, abs=0.005)


def test_a_sample_finds_only_what_is_over_the_operate_threshold() -> None:
    # over it for 10 of the 30 ms of the window: the first sample must fall in there, the second keeps it made
    found = float(seen_in_one_pass(np.array([0.030]), 0.025, CONSTANT, np.array([0.010]))[0])
    hits, cells = 0.0, 2000
    for first_ms in (np.arange(cells) + 0.5) / cells * 25.0:
        samples = math.ceil((30.0 - first_ms) / 25.0) if first_ms < 10.0 else 0
        hits += min(1.0, 25.0 * samples / 20.0)
    assert found == pytest.approx(hits / cells, abs=0.002)
    assert found == pytest.approx(0.4, abs=1e-12)  # 10 of 25 ms, each surely read


def test_loops_with_jitter_and_late_ones_agree_with_a_long_timeline() -> None:
    lift = lift_with({"controller.jitter_ms": 6, "controller.late_loop_probability": 0.02})
    loops = loops_of(lift)
    random = np.random.default_rng(4)
    usual = 20.0 + np.clip(6.0 * random.uniform(-1, 1, (200_000, 3)).sum(axis=1), -10.0, 10.0)
    lengths = np.where(random.random(200_000) < 0.02, 100.0, usual) / 1e3
    readings = np.cumsum(lengths)
    for made_s in (0.004, 0.018, 0.025, 0.060, 0.090):
        begins = random.uniform(0.0, readings[-1] - 1.0, 200_000)
        met = np.searchsorted(readings, begins + made_s) > np.searchsorted(readings, begins)
        # a share of 200,000 has a standard deviation of 0.0011 at most
        assert float(loops.caught(made_s)) == pytest.approx(met.mean(), abs=0.004)


def test_measured_loop_periods_take_the_place_of_the_file() -> None:
    periods = np.array([0.010, 0.010, 0.010, 0.070])
    loops = loops_of(lift_with(), periods)
    # a moment falls into the long loop in 70 of 100 cases: E[min(L, 10 ms)] / E[L] = 10 / 25
    assert loops.mean_s == pytest.approx(0.025)
    assert float(loops.caught(0.010)) == pytest.approx(0.4)
    assert float(loops.caught(0.040)) == pytest.approx((3 * 10 + 40) / 100)


def test_a_window_down_to_the_stop_is_seen_and_none_is_not() -> None:
    lasting = dwell_s(np.array([0.020, 0.020, np.nan]), np.array([-np.inf, 0.005, np.nan]), 0.3)
    assert lasting.tolist() == pytest.approx([np.inf, 0.05, 0.0])
    assert seen_in_one_pass(lasting, 0.0, CONSTANT).tolist() == [1.0, 1.0, 0.0]


@pytest.mark.parametrize(("speed_mm_s", "sample_ms"), [(400.0, 0.0), (400.0, 50.0)])
def test_the_simulation_misses_as_often_as_the_closed_form_says(speed_mm_s: float, sample_ms: float) -> None:
    narrow = {
        **DISC, "part": "hall-unipolar-12mt", "gap_mm": 7.0, "mount_mm": 120, "sample_period_ms": sample_ms,
    }  # fmt: skip
    # no retries: whoever runs through the window and loses the reading is not to have a second pass
    slow_loop = {"controller.period_ms": 50, "controller.jitter_ms": 8, "routine.retries": 0}
    lift = lift_of(narrow, {"routine.fast_speed_mm_s": speed_mm_s, "drive.gear_ratio": 14, **slow_loop})
    seen = float(seen_at(responses_of(lift, 0), speed_mm_s / 1e3, loops_of(lift)).mean())
    assert 0.2 < seen < 0.98  # otherwise the comparison would be empty
    kinds = draw(lift, 0, np.arange(12_000)).start_kind
    from_top = np.flatnonzero(kinds == int(Start.AT_TOP))[:1200].astype(np.int64)
    reasons = run_many(prepare(lift, 0), from_top)[:, RESULT_COLUMNS.index("reason")]
    assert set(reasons) <= {float(Reason.TRAVEL_GUARD), float(Reason.READING_LOST)}
    missed = reasons == float(Reason.TRAVEL_GUARD)  # it went on down, unseen
    deviation = math.sqrt(seen * (1 - seen) / len(from_top))
    assert float(1.0 - missed.mean()) == pytest.approx(seen, abs=3.0 * deviation)
