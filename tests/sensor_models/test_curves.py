"""Data-sheet curves: through their points, against scipy, and outside the points."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares
from sensor_examples import CARD_CURVE, VOLTS_CURVE

from sensor_models.curves import FAR_POWER, NEAR_POWER, Curve, PeakCurve
from sensor_models.errors import InputError
from sensor_models.parts import part

points = st.lists(
    st.tuples(st.integers(1, 1000), st.integers(0, 100)), min_size=3, max_size=12, unique_by=lambda p: p[0]
).map(lambda found: [(x / 1000, y / 100) for x, y in sorted(found)])


@given(points)
def test_between_its_points_it_is_scipys_monotone_cubic(given_points: Any) -> None:
    curve = Curve(given_points, far_power=1.0)
    x, y = np.array(given_points).T
    inside = np.linspace(x[0], x[-1], 200)
    np.testing.assert_allclose(curve(inside), PchipInterpolator(x, y)(inside), atol=1e-12)


@given(points)
def test_it_keeps_within_neighbouring_points(given_points: Any) -> None:
    curve = Curve(given_points, far_power=1.0)
    for (x0, y0), (x1, y1) in pairwise(given_points):
        between = curve(np.linspace(x0, x1, 20))
        assert between.min() >= min(y0, y1) - 1e-12
        assert between.max() <= max(y0, y1) + 1e-12


def test_nearer_than_the_first_point_it_falls_in_proportion() -> None:
    np.testing.assert_allclose(CARD_CURVE(np.array([0.0, 0.00025, 0.0005])), [0.0, 0.32, 0.64])
    assert CARD_CURVE(-0.001) == 0.0
    assert VOLTS_CURVE(-0.001) == 0.3


def test_farther_than_the_last_point_it_falls_with_a_power() -> None:
    np.testing.assert_allclose(CARD_CURVE(np.array([0.015, 0.030])), [0.2, 0.05])
    np.testing.assert_allclose(VOLTS_CURVE(np.array([0.8, 1.6])), [0.4, 0.2])


def test_two_points_are_a_line() -> None:
    np.testing.assert_allclose(
        Curve([(0.0, 1.0), (1.0, 3.0)], far_power=1.0)(np.array([0.25, 0.5])), [1.5, 2.0]
    )


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        ([(0.1, 1.0)], "at least two"),
        (3.0, "at least two"),
        ([(0.1, 1.0), (0.1, 2.0)], "row 2, curve must have rising distances; got 0.1"),
        ([(0.1, 1.0), (0.2,)], "row 2, curve must be a"),
        ([(0.1, 1.0), (0.2, -2.0)], "curve must be at least 0; got -2.0"),
        ([(0.1, 1.0), (0.2, float("nan"))], "curve must be a finite number"),
        ([(-0.1, 1.0), (0.2, 1.0)], "curve must be at least 0"),
    ],
)
def test_points_that_are_no_curve_are_refused(bad: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        Curve(bad, far_power=1.0)


def digitised() -> list[tuple[Any, Any]]:
    """Gap over peak gap, and share of the peak, of the two digitised data-sheet curves."""
    found = []
    for name, peak_mm in (("reflective-2p5mm", 2.37), ("reflective-0p6mm", 0.64)):
        gap, share = np.array(part(name)["curve"].value).T
        found.append((gap / peak_mm, share))
    return found


def test_the_general_shape_is_the_least_squares_fit_to_two_data_sheets() -> None:
    def misses(powers: Any) -> Any:
        a, b = powers
        return np.concatenate(
            [((a + b) * u**a / (b + a * u ** (a + b)) - y) / np.sqrt(len(y)) for u, y in digitised()]
        )

    np.testing.assert_allclose(least_squares(misses, [1.0, 1.5]).x, [NEAR_POWER, FAR_POWER], atol=0.01)


def test_the_general_shape_is_as_near_to_the_data_sheets_as_it_claims() -> None:
    for u, share in digitised():
        miss = np.abs(PeakCurve(1.0)(u) - share)
        assert miss[u >= 1.0].max() < 0.12
        assert miss[u < 1.0].max() < 0.25


def test_the_general_shape_peaks_where_it_is_told() -> None:
    gaps = np.linspace(0.0, 0.02, 20001)
    curve = PeakCurve(0.0025)(gaps)
    assert gaps[curve.argmax()] == pytest.approx(0.0025)
    assert curve.max() == pytest.approx(1.0)
    assert curve[0] == 0.0
    many = PeakCurve(np.array([[0.001], [0.002]]))(0.002)
    assert many.shape == (2, 1)
    assert many[1, 0] == pytest.approx(1.0)
