"""Contact switch: pretravel, differential, overtravel, lever and wiring; and the stall sensor."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sensor_examples import contact_sensor, responded

from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind, Wiring
from sensor_models.mounting import shortfall
from sensor_models.stall import StallSensor


def test_it_operates_after_pretravel_and_releases_by_the_differential() -> None:
    # terms of DIN 41635: PT from free to operating position, MD from operating back to release position
    batch = responded(contact_sensor())
    assert batch.trip_m[0] == pytest.approx(0.012 - 0.001, abs=1e-12)
    assert batch.release_m[0] == pytest.approx(0.011 + 0.0003, abs=1e-12)
    assert batch.window_low_m[0] == -np.inf


def test_a_lever_stretches_all_lengths_of_travel() -> None:
    sensor = contact_sensor(lever_ratio=3.0, overtravel_to_damage_m=0.002)
    batch = responded(sensor)
    assert batch.trip_m[0] == pytest.approx(0.012 - 0.003, abs=1e-12)
    assert batch.release_m[0] - batch.trip_m[0] == pytest.approx(0.0009, abs=1e-12)
    assert sensor.damage_depth_m == pytest.approx(0.009)


def test_without_a_stated_limit_it_is_not_damaged() -> None:
    assert contact_sensor().damage_depth_m == np.inf


@given(st.floats(0.0005, 0.005), st.floats(0.1, 0.9), st.floats(1.0, 10.0))
def test_its_table_is_exact(pretravel_m: float, share: float, lever: float) -> None:
    sensor = contact_sensor(
        mount_m=0.060, pretravel_m=pretravel_m, differential_m=share * pretravel_m, lever_ratio=lever
    )
    batch = responded(sensor)
    assert batch.trip_m[0] == pytest.approx(0.060 - pretravel_m * lever, abs=1e-9)
    assert batch.release_m[0] == pytest.approx(0.060 - pretravel_m * lever * (1 - share), abs=1e-9)


def test_wiring_settles_what_a_broken_wire_reads() -> None:
    assert not contact_sensor().broken_wire_reads_made
    assert contact_sensor(wiring=Wiring.NORMALLY_CLOSED).broken_wire_reads_made


def test_bounce_is_handed_on() -> None:
    assert contact_sensor(longest_bounce_s=0.0062).bounce_s == 0.0062


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"pretravel_m": 0.0}, "pretravel_m must be above 0"),
        ({"lever_ratio": -1.0}, "lever_ratio must be above 0"),
        ({"overtravel_to_damage_m": float("nan")}, "overtravel_to_damage_m must be a finite number"),
        ({"broken_wire_reads_made": True}, "a broken wire is an open contact"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        contact_sensor(**changes)


def test_the_hard_stop_has_no_signal_and_trips_at_zero() -> None:
    sensor = StallSensor()
    batch = responded(sensor)
    assert sensor.kind is SensorKind.STALL
    assert not batch.signal.any()
    assert batch.operate[0] == np.inf
    assert batch.trip_m[0] == batch.release_m[0] == 0.0
    assert shortfall(sensor, batch) == ""


def test_a_differential_above_the_pretravel_lets_go_only_when_the_carriage_is_clear() -> None:
    batch = responded(contact_sensor(mount_m=0.010, pretravel_m=0.001, differential_m=0.0015))
    assert batch.trip_m[0] == pytest.approx(0.009, abs=1e-6)
    assert batch.release_m[0] == pytest.approx(0.0105, abs=1e-6)
