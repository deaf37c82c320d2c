"""Magnet and Hall switch.

The switch senses the component of the flux density along the magnet's axis:

    slide by:  B = s B_axis(x - mount, side, gap + T/2)       the magnet passes the element
    head on:   B = s B_axis(side, 0, gap + x - mount + T/2)   the magnet comes along its own axis

T is the magnetised thickness and s = +1 when the south pole looks at the switch (a south pole at the
marked face counts as positive [1]_). Remanence and thresholds change linearly with temperature from
25 C. An omnipolar switch compares the size of B, the others B itself; a latching switch has a
negative release. Head on, below the height where the magnet's face touches the element, B stays what
it is at touch.

References
----------
.. [1] Texas Instruments DRV5032 data sheet SLVSDC7H (Dec 2024), section 7.3.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from sensor_models.errors import InputError
from sensor_models.kinds import Approach, Facing, Floats, SensorKind, SwitchKind, Value
from sensor_models.magnets import BlockMagnet, CylinderMagnet
from sensor_models.sensor import Sensor

#: Temperature at which remanence and thresholds are stated [C].
STATED_AT_C = 25.0


@dataclass(frozen=True, kw_only=True, eq=False)
class MagnetSensor(Sensor):
    """A magnet on the carriage and a Hall switch on the frame (or the other way round).

    Parameters
    ----------
    magnet : CylinderMagnet or BlockMagnet
        The magnet; its remanence and sizes may be arrays of shape (n, 1).
    mount_m : float or ndarray
        Slide by: x where magnet and element are level [m]. Head on: ``gap_m`` is the distance at
        x = mount [m].
    gap_m : float or ndarray
        From the magnet's face to the sensing element [m].
    side_offset_m : float or ndarray
        Displacement across the travel, along the face [m].
    operate_t, release_t : float or ndarray
        Thresholds at 25 C [T]; sizes for an omnipolar switch, release negative for a latching one.
    hysteresis_min_t : float or ndarray
        Least hysteresis of the part [T]: where both thresholds are drawn apart from each other, the
        release is never closer than this below the operate threshold.
    magnet_coeff_per_k, switch_coeff_per_k : float or ndarray
        Relative change of remanence and of both thresholds per kelvin.
    temperature_c : float or ndarray
        Temperature of magnet and switch [C].

    Examples
    --------
    >>> import numpy as np
    >>> from sensor_models.magnets import CylinderMagnet
    >>> sensor = MagnetSensor(magnet=CylinderMagnet(diameter=0.010, height=0.003, remanence=1.32),
    ...                       mount_m=0.008, gap_m=0.003, operate_t=0.003, release_t=0.0015)
    >>> (1000.0 * sensor.signal(np.array([0.008, 0.020]))).round(2)
    array([[167.46,   7.14]])
    """

    kind: ClassVar[SensorKind] = SensorKind.MAGNET
    quantity: ClassVar[str] = "flux density"
    unit: ClassVar[str] = "mT"
    display_scale: ClassVar[float] = 1000.0

    magnet: CylinderMagnet | BlockMagnet
    gap_m: Value
    operate_t: Value
    release_t: Value
    side_offset_m: Value = 0.0
    hysteresis_min_t: Value = 0.0
    switch: SwitchKind = SwitchKind.OMNIPOLAR
    facing: Facing = Facing.SOUTH
    approach: Approach = Approach.SLIDE_BY
    magnet_coeff_per_k: Value = 0.0
    switch_coeff_per_k: Value = 0.0
    temperature_c: Value = STATED_AT_C

    def __post_init__(self) -> None:
        super().__post_init__()
        self.check("gap_m", at_least=0.0)
        self.check("side_offset_m", "release_t", "magnet_coeff_per_k", "switch_coeff_per_k")
        self.check("operate_t", above=0.0)
        self.check("hysteresis_min_t", at_least=0.0)
        self.check("temperature_c", at_least=-273.15)
        self._check_thresholds()

    def _check_thresholds(self) -> None:
        if self.switch is SwitchKind.LATCHING:
            if np.any(np.asarray(self.release_t) >= 0.0):
                raise InputError("must be negative for a latching switch", key=self.name("release_t"))
        elif np.any(np.asarray(self.release_t) < 0.0):
            raise InputError("must not be negative unless the switch is latching", key=self.name("release_t"))
        elif np.any(np.asarray(self.hysteresis_min_t) > self.operate_t):
            raise InputError("must not exceed operate_t", key=self.name("hysteresis_min_t"))
        if np.any(self.operate <= 0.0):
            raise InputError(
                "must leave operate_t above 0 at temperature_c", key=self.name("switch_coeff_per_k")
            )
        if np.any(self.release >= self.operate):
            raise InputError("must be below operate_t", key=self.name("release_t"))

    @property
    def runs(self) -> int:
        return max(super().runs, self.magnet.runs)

    @property
    def operate(self) -> Floats:
        return self._warmed(self.operate_t)

    @property
    def release(self) -> Floats:
        return self._warmed(np.minimum(self.release_t, np.asarray(self.operate_t) - self.hysteresis_min_t))

    def _warmed(self, threshold_t: Value) -> Floats:
        change = 1.0 + np.asarray(self.switch_coeff_per_k) * (np.asarray(self.temperature_c) - STATED_AT_C)
        return np.ravel(threshold_t * change)

    @property
    def two_sided(self) -> bool:
        return self.switch is SwitchKind.OMNIPOLAR

    def response(self, x_m: Floats) -> Floats:
        """Return the flux density at the element [T], shape (n, m), at heights x_m (m,) [m].

        Positive where it is that of a south pole.
        """
        along = np.asarray(x_m, dtype=np.float64)[None, :] - self.mount_m
        face = self.magnet.half_height_m
        if self.approach is Approach.HEAD_ON:
            axial = self.magnet.axial(self.side_offset_m, 0.0, np.maximum(self.gap_m + along, 0.0) + face)
        else:
            axial = self.magnet.axial(along, self.side_offset_m, self.gap_m + face)
        warmth = 1.0 + np.asarray(self.magnet_coeff_per_k) * (np.asarray(self.temperature_c) - STATED_AT_C)
        return np.multiply(axial, self.facing.sign * warmth)
