"""Hall switches: polarity, thresholds, temperature, approach; and what is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sensor_examples import DISC, TRAVEL_M, magnet_sensor, responded, spread

from sensor_models.errors import InputError
from sensor_models.kinds import Approach, Facing, SwitchKind
from sensor_models.magnets import BlockMagnet, CylinderMagnet
from sensor_models.mounting import grid_for, respond, zones

LEVEL = np.array([0.030])  # the height at which magnet and element are level


def test_a_south_pole_counts_as_positive() -> None:
    # convention of the data sheet DRV5032 SLVSDC7H, section 7.3.1
    south = magnet_sensor(switch=SwitchKind.UNIPOLAR).response(LEVEL)
    north = magnet_sensor(switch=SwitchKind.UNIPOLAR, facing=Facing.NORTH).response(LEVEL)
    assert south[0, 0] == pytest.approx(0.16745884595210055, rel=1e-9)  # magpylib, check value 1.5
    assert north[0, 0] == -south[0, 0]


def test_a_unipolar_switch_turned_to_the_wrong_pole_sees_only_the_side_lobes() -> None:
    right = responded(magnet_sensor(switch=SwitchKind.UNIPOLAR))
    wrong = responded(magnet_sensor(switch=SwitchKind.UNIPOLAR, facing=Facing.NORTH))
    assert abs(right.trip_m[0] - 0.030) < 0.008
    assert abs(wrong.trip_m[0] - 0.030) > 0.008


def test_an_omnipolar_switch_does_not_mind_the_pole() -> None:
    south, north = (responded(magnet_sensor(facing=facing)) for facing in Facing)
    assert south.trip_m == north.trip_m
    assert south.release_m == north.release_m


def test_an_omnipolar_switch_at_a_small_gap_is_made_again_beside_the_main_lobe() -> None:
    # check value 1.8: 3.5 mT at gap 3 mm is on again for 8.58 < x < 17.60 mm, at gap 5 mm it is not
    near = magnet_sensor(operate_t=0.0035, release_t=0.002)
    far = magnet_sensor(operate_t=0.0035, release_t=0.002, gap_m=0.005)
    counts = []
    for sensor in (near, far):
        batch = responded(sensor)
        counts.append(len(zones(batch.signal[0], batch.grid.positions(), 0.0035, batch.two_sided)))
    assert counts == [3, 1]


def test_a_latching_switch_lets_go_only_at_the_other_pole() -> None:
    strong = magnet_sensor(switch=SwitchKind.LATCHING, release_t=-0.003)
    batch = responded(strong)
    assert strong.response(batch.release_m)[0, 0] == pytest.approx(-0.003, abs=2e-5)
    assert batch.release_m[0] > batch.trip_m[0] + 0.0005
    # no side lobe is that strong at 5 mm: it stays made for good
    assert (
        responded(magnet_sensor(switch=SwitchKind.LATCHING, release_t=-0.004, gap_m=0.005)).release_m[0]
        == np.inf
    )


def test_temperature_weakens_the_magnet_and_moves_the_thresholds() -> None:
    # -0.12 %/K for NdFeB, en.shanghaimagnet.com
    warm = magnet_sensor(temperature_c=65.0, magnet_coeff_per_k=-0.0012, switch_coeff_per_k=0.001)
    ratio = warm.response(LEVEL) / magnet_sensor().response(LEVEL)
    assert ratio[0, 0] == pytest.approx(1.0 - 0.0012 * 40.0)
    np.testing.assert_allclose(warm.operate, 0.003 * 1.04)
    np.testing.assert_allclose(warm.release, 0.0015 * 1.04)


def test_head_on_the_distance_is_gap_plus_height_above_mount() -> None:
    sensor = magnet_sensor(approach=Approach.HEAD_ON, mount_m=0.0, gap_m=0.002)
    flux = sensor.response(np.array([0.001, 0.003, 0.018]))[0]
    np.testing.assert_allclose(
        flux, [0.16745884595210055, 0.09298840506023669, 0.00464235009312958], rtol=1e-9
    )
    # past touch (2 mm below the stop) the magnet cannot come closer
    deep = sensor.response(np.array([-0.002, -0.004]))[0]
    assert deep[0] == deep[1]


def test_a_side_offset_weakens_a_disc_as_a_shift_along_the_travel_does() -> None:
    aside = magnet_sensor(side_offset_m=0.002).response(LEVEL)
    along = magnet_sensor().response(LEVEL + 0.002)
    np.testing.assert_allclose(aside, along, rtol=1e-12)


def test_a_block_is_turned_as_its_size_says() -> None:
    # size = along the travel, across, magnetised thickness
    lengthwise = magnet_sensor(magnet=BlockMagnet(size=(0.020, 0.005, 0.003), remanence=1.3))
    crosswise = magnet_sensor(magnet=BlockMagnet(size=(0.005, 0.020, 0.003), remanence=1.3))
    widths = [float(b.trip_m[0] - b.window_low_m[0]) for b in map(responded, (lengthwise, crosswise))]
    assert widths[0] > 1.4 * widths[1]


def test_an_ensemble_is_the_sensors_one_by_one() -> None:
    changes = {
        "gap_m": spread(0.002, 0.004, 5),
        "mount_m": spread(0.029, 0.031, 5, 1),
        "side_offset_m": spread(-0.001, 0.001, 5, 2),
        "operate_t": spread(0.0015, 0.0048, 5, 3),
        "hysteresis_min_t": 0.0008,
        "temperature_c": spread(0.0, 50.0, 5, 4),
        "magnet_coeff_per_k": -0.0012,
    }
    remanence = spread(1.28, 1.32, 5, 5)
    together = magnet_sensor(
        magnet=CylinderMagnet(diameter=0.01, height=0.003, remanence=remanence), **changes
    )
    assert together.runs == 5
    grid = grid_for(magnet_sensor(), TRAVEL_M)
    batch = respond(together, grid, 5)
    for run in range(5):
        own = {key: value[run, 0] if np.ndim(value) else value for key, value in changes.items()}
        magnet = CylinderMagnet(diameter=0.01, height=0.003, remanence=float(remanence[run, 0]))
        alone = respond(magnet_sensor(magnet=magnet, **own), grid, 1)
        np.testing.assert_array_equal(batch.signal[run], alone.signal[0])
        for name in ("operate", "release", "trip_m", "release_m", "window_low_m"):
            assert getattr(batch, name)[run] == getattr(alone, name)[0]


@given(st.floats(0.0015, 0.0048), st.floats(0.0005, 0.003))
def test_thresholds_drawn_apart_keep_the_least_hysteresis(operate_t: float, release_t: float) -> None:
    sensor = magnet_sensor(operate_t=operate_t, release_t=release_t, hysteresis_min_t=0.0008)
    assert sensor.release[0] <= sensor.operate[0] - 0.0008 + 1e-15
    assert sensor.release[0] <= release_t


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"release_t": 0.003}, "release_t must be below operate_t"),
        ({"release_t": -0.001}, "release_t must not be negative unless"),
        ({"switch": SwitchKind.LATCHING}, "release_t must be negative for a latching switch"),
        ({"operate_t": 0.0}, "operate_t must be above 0"),
        ({"gap_m": -0.001}, "gap_m must be at least 0; got -0.001"),
        ({"gap_m": float("nan")}, "gap_m must be a finite number"),
        ({"gap_m": np.array([0.001, 0.002])}, r"shape \(n, 1\)"),
        ({"mount_m": True}, "mount_m must be a number"),
        ({"flip_probability": 1.5}, "flip_probability must be at most 1"),
        ({"sample_period_s": -0.02}, "sample_period_s must be at least 0"),
        ({"hysteresis_min_t": 0.004}, "hysteresis_min_t must not exceed operate_t"),
        ({"temperature_c": 125.0, "switch_coeff_per_k": -0.02}, "switch_coeff_per_k must leave"),
        ({"broken_wire_reads_made": 1}, "broken_wire_reads_made must be true or false"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        magnet_sensor(**changes)


def test_the_shared_example_is_the_disc_of_the_check_values() -> None:
    assert (DISC.diameter, DISC.height, DISC.remanence) == (0.010, 0.003, 1.32)
