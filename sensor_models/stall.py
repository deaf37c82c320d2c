"""No sensor at all: the hard stop itself, told by no motion under a limited command.

There is no curve and no comparator; the routine sees that nothing moves. The trip height is the stop.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from sensor_models.kinds import Floats, SensorKind, Value
from sensor_models.sensor import Sensor


@dataclass(frozen=True, kw_only=True, eq=False)
class StallSensor(Sensor):
    """The retracted end's hard stop used as the reference."""

    kind: ClassVar[SensorKind] = SensorKind.STALL
    quantity: ClassVar[str] = "no signal"
    unit: ClassVar[str] = ""

    mount_m: Value = 0.0

    @property
    def operate(self) -> Floats:
        """Never reached."""
        return np.array([np.inf])

    @property
    def release(self) -> Floats:
        return np.array([-np.inf])

    def response(self, x_m: Floats) -> Floats:
        """Return zeros, shape (1, m)."""
        return np.zeros((1, len(x_m)))
