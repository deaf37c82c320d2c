"""Reflective sensor: how the target slides in, its size, gap, reflectance, tilt and ambient light."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from sensor_examples import CARD_CURVE, TRAVEL_M, reflective_sensor, responded, spread

from sensor_models.curves import PeakCurve
from sensor_models.errors import InputError
from sensor_models.mounting import grid_for, respond, shortfall
from sensor_models.reflective import covered_share


def signal(x_m: float, **changes: Any) -> float:
    return float(reflective_sensor(**changes).signal(np.array([x_m]))[0, 0])


def test_half_the_spot_is_covered_where_the_edge_crosses_the_axis() -> None:
    assert signal(0.010) == pytest.approx(0.5)
    assert signal(0.0125) == 0.0
    assert signal(0.0075) == pytest.approx(1.0)


@given(st.floats(-3, 3), st.floats(0.1, 4), st.floats(-2, 2), st.floats(0.1, 4), st.floats(0.5, 2))
def test_covered_share_is_the_area_by_quadrature(
    lead: float, along: float, side: float, across: float, spot: float
) -> None:
    radius = spot / 2
    low, high = side - across / 2, side + across / 2

    def height(x: float) -> float:
        arc = float(np.sqrt(max(radius**2 - x**2, 0.0)))
        return max(min(high, arc) - max(low, -arc), 0.0)

    start, end = max(lead - along, -radius), min(lead, radius)
    kinks = [s * np.sqrt(radius**2 - y**2) for y in (low, high) if abs(y) < radius for s in (-1, 1)]
    area = (
        quad(height, start, end, points=[k for k in kinks if start < k < end] or None)[0]
        if start < end
        else 0.0
    )
    ours = covered_share(np.array([[lead]]), (along, across), side, spot, 1)[0, 0]
    assert ours == pytest.approx(area / (np.pi * radius**2), abs=1e-6)


def test_gap_peak_and_fold_back() -> None:
    # the same signal at two gaps, one nearer and one farther than the peak
    at_peak = signal(0.0, gap_m=0.0025)
    assert at_peak == pytest.approx(1.0)
    assert signal(0.0, gap_m=0.0006) < 0.75
    assert signal(0.0, gap_m=0.006) < 0.75


def test_signal_scales_with_reflectance_and_ambient_adds() -> None:
    assert signal(0.0, reflectance=0.45) == pytest.approx(0.5)
    assert signal(0.0, ambient=0.1) == pytest.approx(1.1)
    assert signal(0.5, ambient=0.1) == pytest.approx(0.1)


def test_white_against_black_card() -> None:
    # from memory: a white card (90 %) gives 10 to 20 times the signal of a black one (5 to 10 %)
    assert 9.0 <= signal(0.0, reflectance=0.90) / signal(0.0, reflectance=0.10) <= 20.0


def test_tilt_follows_lamberts_cosine() -> None:
    assert signal(0.0, tilt_rad=np.radians(60.0)) == pytest.approx(0.5)
    assert signal(0.0, tilt_rad=-0.3) == signal(0.0, tilt_rad=0.3)


def test_a_short_target_runs_through_the_window() -> None:
    batch = responded(reflective_sensor(mount_m=0.030, target_m=(0.012, 0.020)))
    assert batch.trip_m[0] == pytest.approx(0.030, abs=1e-5)
    # it lets go when only 40 % of the spot is left on the trailing edge, 12 mm later
    assert 0.0172 < batch.window_low_m[0] < 0.0180
    assert np.isinf(responded(reflective_sensor(target_m=(0.120, 0.020))).window_low_m[0])


def test_hysteresis_separates_trip_and_release() -> None:
    batch = responded(reflective_sensor())
    assert batch.operate[0] == 0.5
    assert batch.release[0] == pytest.approx(0.4)
    assert 0.0002 < batch.release_m[0] - batch.trip_m[0] < 0.0006


def test_ambient_light_above_the_release_threshold_holds_it() -> None:
    batch = responded(reflective_sensor(ambient=0.45))
    assert batch.release_m[0] == np.inf


def test_common_practice_no_source_a_reflective_sensor_needs_a_large_target() -> None:
    large = responded(reflective_sensor(target_m=(0.020, 0.020)))
    small = reflective_sensor(target_m=(0.002, 0.002))
    assert not np.isnan(large.trip_m[0])
    assert np.isnan(responded(small).trip_m[0])
    assert "strongest signal 31.8 % of peak" in shortfall(small, responded(small))  # 2 x 2 mm of a 4 mm spot


def test_a_target_beside_the_beam_loses_the_signal() -> None:
    assert signal(0.0, side_offset_m=0.010) == pytest.approx(0.5)
    assert signal(0.0, side_offset_m=0.013) == 0.0


def test_an_ensemble_is_the_sensors_one_by_one() -> None:
    changes = {
        "gap_m": spread(0.002, 0.004, 4),
        "side_offset_m": spread(-0.001, 0.001, 4, 1),
        "threshold": spread(0.4, 0.6, 4, 2),
        "tilt_rad": spread(-0.1, 0.1, 4, 3),
        "reflectance": spread(0.7, 0.9, 4, 4),
    }
    across, peaks = spread(0.01, 0.02, 4, 5), spread(0.002, 0.003, 4, 6)
    many = reflective_sensor(**changes, target_m=(0.02, across), curve=PeakCurve(peaks))
    assert many.runs == 4
    grid = grid_for(reflective_sensor(), TRAVEL_M)
    batch = respond(many, grid, 4)
    for run in range(4):
        own = {key: float(value[run, 0]) for key, value in changes.items()}
        one = reflective_sensor(**own, target_m=(0.02, across[run, 0]), curve=PeakCurve(peaks[run, 0]))
        np.testing.assert_allclose(batch.signal[run], respond(one, grid, 1).signal[0], rtol=1e-12)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"target_m": 0.02}, "target_m must hold two lengths"),
        ({"target_m": (0.02, 0.0)}, "target_m must be above 0"),
        ({"reflectance": 1.2}, "reflectance must be at most 1"),
        ({"hysteresis": 0.5}, "hysteresis must be smaller than threshold"),
        ({"tilt_rad": 2.0}, "tilt_rad must be at most"),
        ({"gap_m": -0.001}, "gap_m must be at least 0"),
        ({"ambient": float("inf")}, "ambient must be a finite number"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        reflective_sensor(**changes)


def test_the_shared_curve_peaks_at_its_gap() -> None:
    assert CARD_CURVE(0.0025) == 1.0
