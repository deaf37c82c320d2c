"""Distance sensor: the fold-back near the part, small targets, converter, and rising curves."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sensor_examples import TRAVEL_M, VOLTS_CURVE, distance_sensor, responded, spread

from sensor_models.curves import Curve
from sensor_models.errors import InputError
from sensor_models.mounting import grid_for, respond, zones


def volts(x_m: float, **changes: Any) -> float:
    return float(distance_sensor(**changes).signal(np.array([x_m]))[0, 0])


def test_output_is_the_curve_at_the_targets_distance() -> None:
    assert volts(0.020) == pytest.approx(2.3)
    assert volts(0.120) == pytest.approx(1.3)


def test_output_folds_back_nearer_than_the_peak() -> None:
    # roboticsclub.org/redmine/projects/colony/wiki/Rangefinders_details: output rises as the target
    # nears, then falls below a minimum distance
    near, peak, far = (volts(x, mount_m=-0.010) for x in (0.020, 0.050, 0.090))
    assert near < peak > far
    batch = responded(distance_sensor(mount_m=-0.010))
    assert batch.trip_m[0] > 0.05 > batch.window_low_m[0] > 0.0
    found = zones(batch.signal[0], batch.grid.positions(), 2.0)
    assert found[0][0] > batch.window_low_m[0]


def test_mounted_low_enough_it_stays_made_at_the_stop() -> None:
    assert responded(distance_sensor(mount_m=-0.120)).window_low_m[0] == -np.inf


def test_below_the_mount_the_target_touches() -> None:
    assert volts(-0.100) == volts(-0.080) == 0.3


def test_a_small_target_reads_as_farther_away() -> None:
    # from memory: small targets and edges bias the reading; insensitive to reflectance
    full, small, missed = (volts(0.220, target_m=(side, 0.06)) for side in (0.06, 0.004, 1e-9))
    assert full == pytest.approx(float(VOLTS_CURVE(0.3)))
    assert 0.4 < small < full - 0.02
    assert missed == pytest.approx(0.4, abs=1e-3)  # what stands behind, at 0.8 m
    aside = volts(0.220, side_offset_m=0.030)
    assert missed < aside < full


@given(st.floats(0.02, 0.6), st.floats(0.002, 0.02))
def test_the_bias_of_a_small_target_grows_with_distance_and_shrinks_with_size(
    x_m: float, side_m: float
) -> None:
    here = distance_sensor(target_m=(side_m, 0.06)).signal(np.array([x_m]))[0, 0]
    whole = distance_sensor().signal(np.array([x_m]))[0, 0]
    larger = distance_sensor(target_m=(1.3 * side_m, 0.06)).signal(np.array([x_m]))[0, 0]
    assert here <= larger + 1e-12
    assert larger <= whole + 1e-12


def test_converter_step_and_saturation() -> None:
    sensor = distance_sensor(adc_bits=10, adc_full_scale_v=2.2)
    assert sensor.quantum == pytest.approx(2.2 / 1024)
    assert sensor.signal(np.array([0.0]))[0, 0] == 2.2
    assert distance_sensor().quantum == 0.0


def test_a_curve_that_rises_with_distance_is_turned_over() -> None:
    rising = Curve([(0.0, 0.0), (0.8, 4.0)], far_power=0.0)
    sensor = distance_sensor(curve=rising, min_m=0.0, threshold_v=0.5, hysteresis_v=0.05)
    batch = responded(sensor)
    assert batch.operate[0] == -0.5
    assert batch.release[0] == pytest.approx(-0.55)
    assert batch.trip_m[0] == pytest.approx(0.1 - 0.08, abs=1e-5)
    assert batch.release_m[0] == pytest.approx(0.11 - 0.08, abs=1e-5)


def test_an_ensemble_is_the_sensors_one_by_one() -> None:
    changes = {
        "mount_m": spread(-0.09, -0.07, 4),
        "threshold_v": spread(1.8, 2.2, 4, 1),
        "side_offset_m": spread(0.0, 0.04, 4, 2),
        "max_m": spread(0.7, 0.8, 4, 3),
        "adc_full_scale_v": spread(2.0, 5.0, 4, 4),
    }
    many = distance_sensor(**changes, adc_bits=10)
    grid = grid_for(distance_sensor(), TRAVEL_M)
    batch = respond(many, grid, 4)
    for run in range(4):
        own = {key: float(value[run, 0]) for key, value in changes.items()}
        alone = respond(distance_sensor(**own, adc_bits=10), grid, 1)
        np.testing.assert_allclose(batch.signal[run], alone.signal[0], rtol=1e-12)
        assert batch.operate[run] == alone.operate[0]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"max_m": 0.05}, "max_m must be above min_m"),
        ({"threshold_v": 0.0}, "threshold_v must be above 0"),
        ({"adc_bits": 10}, "adc_full_scale_v must be given with adc_bits"),
        ({"adc_bits": 10.5, "adc_full_scale_v": 5.0}, "adc_bits must be a whole number"),
        ({"adc_bits": True, "adc_full_scale_v": 5.0}, "adc_bits must be a whole number"),
        ({"noise": -0.01}, "noise must be at least 0"),
        ({"target_m": (0.01, 0.01, 0.01)}, "target_m must hold two lengths"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        distance_sensor(**changes)
