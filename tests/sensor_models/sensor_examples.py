"""Sensors for the tests: one sound example of each kind, changed where a test needs it."""

from __future__ import annotations

from typing import Any

import numpy as np

from sensor_models.contact import ContactSensor
from sensor_models.curves import Curve
from sensor_models.distance import DistanceSensor
from sensor_models.hall import MagnetSensor
from sensor_models.magnets import CylinderMagnet
from sensor_models.mounting import SensorBatch, grid_for, respond
from sensor_models.reflective import ReflectiveSensor
from sensor_models.sensor import Sensor

TRAVEL_M = 0.64
DISC = CylinderMagnet(diameter=0.010, height=0.003, remanence=1.32)
CARD_CURVE = Curve([(0.0005, 0.64), (0.001, 0.83), (0.0025, 1.0), (0.005, 0.78), (0.015, 0.2)], far_power=2.0)
VOLTS_CURVE = Curve(
    [(0.0, 0.3), (0.03, 1.7), (0.06, 3.1), (0.1, 2.3), (0.2, 1.3), (0.4, 0.74), (0.8, 0.4)], far_power=1.0
)


def magnet_sensor(**changes: Any) -> MagnetSensor:
    values = {"magnet": DISC, "mount_m": 0.030, "gap_m": 0.003, "operate_t": 0.003, "release_t": 0.0015}
    return MagnetSensor(**{**values, **changes})


def reflective_sensor(**changes: Any) -> ReflectiveSensor:
    values = {
        "mount_m": 0.010,
        "target_m": (0.020, 0.020),
        "gap_m": 0.0025,
        "curve": CARD_CURVE,
        "beam_spot_m": 0.004,
        "threshold": 0.5,
        "hysteresis": 0.1,
    }
    return ReflectiveSensor(**{**values, **changes})


def distance_sensor(**changes: Any) -> DistanceSensor:
    values = {
        "mount_m": -0.080,
        "curve": VOLTS_CURVE,
        "min_m": 0.1,
        "max_m": 0.8,
        "threshold_v": 2.0,
        "hysteresis_v": 0.1,
        "target_m": (0.060, 0.060),
        "beam_spot_m": 0.015,
    }
    return DistanceSensor(**{**values, **changes})


def contact_sensor(**changes: Any) -> ContactSensor:
    values = {"mount_m": 0.012, "pretravel_m": 0.001, "differential_m": 0.0003}
    return ContactSensor(**{**values, **changes})


def responded(sensor: Sensor, travel_m: float = TRAVEL_M) -> SensorBatch:
    """Response of a single sensor on its own grid."""
    return respond(sensor, grid_for(sensor, travel_m), 1)


def spread(low: float, high: float, runs: int, seed: int = 0) -> Any:
    """An evenly drawn parameter of an ensemble, shape (runs, 1)."""
    return np.random.default_rng(seed).uniform(low, high, (runs, 1))
