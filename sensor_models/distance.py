"""Triangulating infrared distance sensor with an analog output, looking along the travel.

The output voltage is a curve over the distance d = x - mount. It rises as the target comes nearer and
falls again nearer than ``min_m``: the same voltage then stands for two distances. The part measures
every ``sample_period_s`` and holds its output in between.

The receiver takes the middle of the light it gets. Where only a share c of the spot falls on the
target, the rest goes to whatever stands behind, taken to be at ``max_m``; light comes back with the
inverse square of the distance, so

    V = (c V(d) + w V(max)) / (c + w),   w = (1 - c) (d / max)^2

A curve that rises with distance instead is turned over: signal and thresholds then carry a minus
sign, so that the sensor is always made when the signal rises. A converter saturates at its full scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from sensor_models.curves import DistanceCurve
from sensor_models.errors import InputError
from sensor_models.kinds import Floats, SensorKind, Value
from sensor_models.reflective import check_target, covered_share
from sensor_models.sensor import Sensor


@dataclass(frozen=True, kw_only=True, eq=False)
class DistanceSensor(Sensor):
    """An analog distance sensor below the carriage, looking up at a target on it.

    Parameters
    ----------
    mount_m : float or ndarray
        x where the target's distance would be 0 [m]; usually below the stop.
    curve : Curve
        Output [V] over distance [m].
    min_m, max_m : float or ndarray
        Range of the data sheet [m]; nearer than ``min_m`` the curve folds back.
    threshold_v, hysteresis_v : float or ndarray
        Made at the threshold, lets go this far on the other side of it [V].
    target_m : (float, float)
        Size of the target, seen along the beam [m].
    beam_spot_m : float or ndarray
        Diameter of the light spot [m].
    side_offset_m : float or ndarray
        Target's centre off the beam axis [m].
    adc_bits : int
        Bits of the converter that reads the voltage; 0 = not quantised.
    adc_full_scale_v : float or ndarray
        Voltage at which the converter saturates [V].
    noise : float or ndarray
        Standard deviation of the output [V].
    """

    kind: ClassVar[SensorKind] = SensorKind.DISTANCE
    quantity: ClassVar[str] = "output"
    unit: ClassVar[str] = "V"
    fine_share: ClassVar[float] = 0.9

    curve: DistanceCurve
    min_m: Value
    max_m: Value
    threshold_v: Value
    hysteresis_v: Value
    target_m: tuple[Value, Value]
    beam_spot_m: Value
    side_offset_m: Value = 0.0
    adc_bits: int = 0
    adc_full_scale_v: Value = np.inf

    def __post_init__(self) -> None:
        super().__post_init__()
        check_target(self.name("target_m"), self.target_m)
        self.check("min_m", "hysteresis_v", at_least=0.0)
        self.check("max_m", above=0.0)
        if np.any(np.asarray(self.max_m) <= self.min_m):
            raise InputError("must be above min_m", key=self.name("max_m"))
        self.check("threshold_v", "beam_spot_m", above=0.0)
        self.check("side_offset_m")
        self._check_converter()

    def _check_converter(self) -> None:
        self.check("adc_full_scale_v", above=0.0, infinite=True)
        bits = self.adc_bits
        if isinstance(bits, bool) or not isinstance(bits, int) or not 0 <= bits <= 32:
            raise InputError("must be a whole number from 0 to 32", key=self.name("adc_bits"), got=bits)
        if bits and not np.all(np.isfinite(self.adc_full_scale_v)):
            raise InputError("must be given with adc_bits", key=self.name("adc_full_scale_v"))

    @property
    def runs(self) -> int:
        return int(np.broadcast_shapes((super().runs, 1), *map(np.shape, self.target_m))[0])

    @property
    def way(self) -> Floats:
        """+1 where the output rises as the target comes nearer, else -1."""
        return np.where(self.curve(self.min_m) >= self.curve(self.max_m), 1.0, -1.0)

    @property
    def operate(self) -> Floats:
        return np.ravel(self.way * np.asarray(self.threshold_v))

    @property
    def release(self) -> Floats:
        return np.ravel(self.way * np.asarray(self.threshold_v) - self.hysteresis_v)

    @property
    def quantum(self) -> Value:
        return self.adc_full_scale_v / 2**self.adc_bits if self.adc_bits else 0.0

    def response(self, x_m: Floats) -> Floats:
        """Return the output [V], turned over if need be, shape (n, m), at heights x_m (m,) [m]."""
        distance = np.maximum(np.asarray(x_m, dtype=np.float64)[None, :] - self.mount_m, 0.0)
        middle = np.asarray(self.target_m[0], dtype=np.float64).reshape(-1, 1) / 2.0
        share = covered_share(middle, self.target_m, self.side_offset_m, self.beam_spot_m, self.runs)
        beside = (1.0 - share) * (distance / self.max_m) ** 2
        total = share + beside
        mixed = share * self.curve(distance) + beside * self.curve(self.max_m)
        seen = np.where(total > 0.0, mixed / np.where(total > 0.0, total, 1.0), self.curve(self.max_m))
        return self.way * np.minimum(seen, self.adc_full_scale_v)
