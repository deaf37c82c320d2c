"""Response tables: their error against the exact equation, and the windows found in them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from sensor_examples import (
    DISC,
    TRAVEL_M,
    contact_sensor,
    distance_sensor,
    magnet_sensor,
    reflective_sensor,
    responded,
    spread,
)

from sensor_models import response_kernel
from sensor_models.errors import InputError
from sensor_models.kinds import Approach, SensorKind, SwitchKind
from sensor_models.magnets import BlockMagnet, CylinderMagnet
from sensor_models.mounting import N_COARSE, N_FINE, Grid, grid_for, interpolate, respond, shortfall, zones
from sensor_models.sensor import Sensor

BLOCK = BlockMagnet(size=(0.010, 0.005, 0.003), remanence=1.32)

SENSORS = {
    "disc": magnet_sensor(),
    "disc by the stop": magnet_sensor(mount_m=0.008),
    "block": magnet_sensor(magnet=BLOCK, side_offset_m=0.001),
    "head on": magnet_sensor(approach=Approach.HEAD_ON, mount_m=0.0),
    "unipolar": magnet_sensor(switch=SwitchKind.UNIPOLAR),
    "latching": magnet_sensor(switch=SwitchKind.LATCHING, release_t=-0.003),
    "weak": magnet_sensor(gap_m=0.012),
    "reflective": reflective_sensor(),
    "reflective strip": reflective_sensor(target_m=(0.008, 0.002), beam_spot_m=0.003, threshold=0.4),
    "distance": distance_sensor(),
    "distance folding back": distance_sensor(mount_m=-0.010),
    "contact": contact_sensor(),
}
EVERY = pytest.mark.parametrize("sensor", SENSORS.values(), ids=SENSORS.keys())


def test_table_and_look_up_have_the_same_layout() -> None:
    assert (N_FINE, N_COARSE) == (response_kernel.N_FINE, response_kernel.N_COARSE)


def test_grid_has_a_fine_and_a_coarse_part() -> None:
    grid = grid_for(magnet_sensor(), TRAVEL_M)
    positions = grid.positions()
    assert positions.shape == (N_FINE + N_COARSE,) == (352,)
    assert positions[N_FINE] == -0.05
    assert positions[-1] == pytest.approx(TRAVEL_M + 0.05)
    assert grid.fine_low_m < 0.030 - 0.018
    assert positions[N_FINE - 1] > 0.030 + 0.018  # side lobe of 1.8
    rising = grid.rising()
    assert (np.diff(rising) > 0).all()


@EVERY
def test_table_error_is_far_below_the_thresholds(sensor: Sensor) -> None:
    grid = grid_for(sensor, TRAVEL_M)
    row = respond(sensor, grid, 1).signal[0]
    operate, release = (float(threshold[0]) for threshold in sensor.thresholds())
    x = np.arange(-0.010, TRAVEL_M, 2e-5)
    exact, read = sensor.response(x)[0], interpolate(row, grid, x)
    place = (x - grid.fine_low_m) / grid.fine_step_m
    fine = (place > 1.0) & (place < N_FINE - 2.0)
    near = np.abs(sensor.signal(x)[0] - operate) < abs(operate - release) * 3.0
    assert np.abs(read - exact)[fine & near].max(initial=0.0) < 2e-3 * operate
    # the coarse part only has to be right about not being near a threshold
    weak = min(abs(operate), abs(release))
    assert np.abs(exact[~fine]).max(initial=0.0) < weak or sensor.kind is SensorKind.CONTACT
    assert np.abs(read[~fine]).max(initial=0.0) < weak or sensor.kind is SensorKind.CONTACT


@EVERY
def test_trip_and_release_heights_are_those_of_the_exact_equation(sensor: Sensor) -> None:
    batch = responded(sensor)

    def over(level: float) -> Any:
        return lambda x: float(sensor.signal(np.array([x]))[0, 0]) - level

    for found, level in ((batch.trip_m[0], batch.operate[0]), (batch.release_m[0], batch.release[0])):
        if not np.isfinite(found):
            continue
        exact = brentq(over(level), found - 2e-4, found + 2e-4)
        assert abs(found - exact) < 5e-6


def walk(sensor: Sensor, heights: Any) -> list[float]:
    """Heights at which a comparator changes on the way through ``heights``, starting not made."""
    operate, release = (float(threshold[0]) for threshold in sensor.thresholds())
    made, changes = False, []
    for x, signal in zip(heights, sensor.signal(heights)[0], strict=True):
        if (made and signal <= release) or (not made and signal >= operate):
            made = not made
            changes.append(float(x))
    return changes


@EVERY
def test_windows_are_what_a_comparator_meets_on_its_way(sensor: Sensor) -> None:
    batch = responded(sensor)
    inwards = walk(sensor, np.arange(TRAVEL_M, -0.05, -1e-5))
    # from the strongest place outwards
    positions = np.linspace(0.0, TRAVEL_M, 64001)
    start = positions[sensor.signal(positions)[0].argmax()]
    outwards = walk(sensor, np.arange(start, TRAVEL_M, 1e-5))
    if np.isnan(batch.trip_m[0]):
        assert not inwards
        assert not outwards
        return
    assert min(abs(x - batch.trip_m[0]) for x in inwards[::2]) < 3e-5
    if np.isfinite(batch.release_m[0]):
        assert outwards[1] == pytest.approx(batch.release_m[0], abs=3e-5)
    if batch.window_low_m[0] > -0.012:
        assert min(abs(x - batch.window_low_m[0]) for x in inwards[1::2]) < 3e-5


def test_the_main_window_is_the_one_with_the_strongest_signal() -> None:
    batch = responded(magnet_sensor())
    found = zones(batch.signal[0], batch.grid.positions(), 0.003, batch.two_sided)
    assert found[0][0] < 0.030 < found[0][1]
    assert found[0][1] == pytest.approx(batch.trip_m[0], abs=2e-5)
    assert {low > 0.030 for low, _ in found[1:]} == {True, False}


def test_a_weak_magnet_is_never_seen_and_the_text_says_by_how_much() -> None:
    sensor = magnet_sensor(gap_m=0.012, operate_t=0.0253)
    batch = responded(sensor)
    assert np.isnan([batch.trip_m[0], batch.release_m[0], batch.window_low_m[0]]).all()
    # 0.012 m on the axis of the disc, by the closed form of the data sheet: 18.0 mT
    far, near = 0.015, 0.012
    closest = 1320 / 2 * (far / np.hypot(5e-3, far) - near / np.hypot(5e-3, near))
    text = shortfall(sensor, batch)
    assert f"strongest flux density {closest:.3g} mT at the closest point" in text
    assert f"needs 25.3 mT: short by {25.3 - closest:.3g} mT" in text
    assert shortfall(magnet_sensor(), responded(magnet_sensor())) == ""


def test_a_sensor_that_would_trip_only_below_the_stop_is_never_made() -> None:
    batch = responded(contact_sensor(mount_m=0.0005))
    assert np.isnan(batch.trip_m[0])
    assert "short by 0.5 mm" in shortfall(contact_sensor(mount_m=0.0005), batch)


def test_some_runs_of_an_ensemble_may_be_blind() -> None:
    gaps = np.array([[0.003], [0.030]])
    sensor = magnet_sensor(gap_m=gaps)
    batch = respond(sensor, grid_for(magnet_sensor(), TRAVEL_M), 2)
    assert np.isnan(batch.trip_m).tolist() == [False, True]
    assert "short by" in shortfall(sensor, batch)


def test_one_sensor_serves_many_runs() -> None:
    batch = respond(magnet_sensor(), grid_for(magnet_sensor(), TRAVEL_M), 3)
    assert len(batch) == 3
    assert batch.signal.shape == (3, 352)
    assert batch.signal.flags.c_contiguous
    assert np.ptp(batch.trip_m) == 0.0
    with pytest.raises(InputError, match="must hold 1 or 4 sensors"):
        respond(magnet_sensor(gap_m=spread(0.002, 0.004, 3)), grid_for(magnet_sensor(), TRAVEL_M), 4)
    with pytest.raises(InputError, match="nominal sensor"):
        grid_for(magnet_sensor(gap_m=spread(0.002, 0.004, 3)), TRAVEL_M)
    with pytest.raises(InputError, match="travel_m must be above 0"):
        grid_for(magnet_sensor(), 0.0)


def test_the_nominal_grid_serves_the_tolerances_around_it() -> None:
    grid = grid_for(magnet_sensor(), TRAVEL_M)
    magnet = CylinderMagnet(diameter=0.010, height=0.003, remanence=spread(1.2, 1.4, 40, 2))
    sensor = magnet_sensor(
        gap_m=spread(0.0015, 0.0045, 40), mount_m=spread(0.027, 0.033, 40, 1), magnet=magnet
    )
    batch = respond(sensor, grid, 40)
    at_trip, just_in = (np.diagonal(sensor.signal(batch.trip_m - step)) for step in (0.0, 1e-6))
    error_m = (at_trip - batch.operate) / (just_in - at_trip) * 1e-6
    assert np.abs(error_m).max() < 2e-6


def test_read_back_at_its_own_samples_a_table_is_exact() -> None:
    batch = responded(magnet_sensor())
    inner = batch.grid.positions()[1 : N_FINE - 2]
    np.testing.assert_array_equal(
        interpolate(batch.signal[0], batch.grid, inner).round(12), batch.signal[0][1 : N_FINE - 2].round(12)
    )
    beyond = interpolate(batch.signal[0], batch.grid, np.array([-1.0, 10.0]))
    np.testing.assert_array_equal(beyond, batch.signal[0][[N_FINE, -1]])


@settings(max_examples=40)
@given(
    st.floats(0.001, 0.010),
    st.floats(0.0, 0.05),
    st.floats(0.001, 0.02),
    st.floats(0.05, 0.95),
    st.booleans(),
)
def test_order_of_the_heights(
    gap_m: float, mount_m: float, operate_t: float, ratio: float, disc: bool
) -> None:
    sensor = magnet_sensor(
        magnet=DISC if disc else BLOCK,
        gap_m=gap_m,
        mount_m=mount_m,
        operate_t=operate_t,
        release_t=ratio * operate_t,
    )
    batch = responded(sensor)
    if np.isnan(batch.trip_m[0]):
        assert shortfall(sensor, batch)
    else:
        assert batch.window_low_m[0] < batch.trip_m[0] <= batch.release_m[0]


@given(st.floats(-0.02, 0.02))
def test_moving_the_mount_moves_the_heights_with_it(shift_m: float) -> None:
    grid = grid_for(magnet_sensor(mount_m=0.060), TRAVEL_M)
    wide = Grid(grid.fine_low_m - 0.02, (0.04 + 255 * grid.fine_step_m) / 255, TRAVEL_M)
    still, moved = (respond(magnet_sensor(mount_m=m), wide, 1) for m in (0.060, 0.060 + shift_m))
    assert moved.trip_m[0] - still.trip_m[0] == pytest.approx(shift_m, abs=1e-5)
    assert moved.release_m[0] - still.release_m[0] == pytest.approx(shift_m, abs=1e-5)
