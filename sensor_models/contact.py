"""Contact switch: a snap-action switch with or without a lever, or a pressed limit switch.

The signal is how far the carriage has gone past the height at which it first touches the actuator.
With the terms of the standard (DIN 41635; pretravel from free to operating position, movement
differential from operating back to release position [1]_) and a lever that gives ``lever_ratio`` of
carriage travel for one of plunger travel:

    made at             mount - x = pretravel * lever_ratio
    lets go at          mount - x = (pretravel - differential) * lever_ratio
    damaged at          mount - x = (pretravel + overtravel to damage) * lever_ratio

Negative signal: clear of the actuator. At make and at break the contact bounces in a burst of up to
``bounce_s``. Wired normally closed, a broken wire reads as made; normally open, as not made.

References
----------
.. [1] Terms as in unionwellgz.com/micro-switches-glossary.html and switchit.de (DIN 41635/41636).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from sensor_models.errors import InputError
from sensor_models.kinds import Floats, SensorKind, Value, Wiring
from sensor_models.sensor import Sensor


@dataclass(frozen=True, kw_only=True, eq=False)
class ContactSensor(Sensor):
    """A contact switch pressed by the carriage.

    Parameters
    ----------
    mount_m : float or ndarray
        x where the actuator is first touched [m].
    pretravel_m, differential_m : float or ndarray
        Pretravel and movement differential at the plunger [m].
    overtravel_to_damage_m : float or ndarray
        Plunger travel past the operating position at which the switch is damaged [m].
    lever_ratio : float or ndarray
        Carriage travel per plunger travel.
    operating_force_n : float or ndarray
        Force at the actuator when it operates [N]; small beside the lift's own forces.
    longest_bounce_s : float or ndarray
        Longest burst of bouncing [s].
    wiring : Wiring
        Normally open or normally closed; it settles what a broken wire reads as.
    """

    kind: ClassVar[SensorKind] = SensorKind.CONTACT
    quantity: ClassVar[str] = "travel past first touch"
    unit: ClassVar[str] = "mm"
    display_scale: ClassVar[float] = 1000.0
    fine_share: ClassVar[float] = 1.0

    pretravel_m: Value
    differential_m: Value
    overtravel_to_damage_m: Value = np.inf
    lever_ratio: Value = 1.0
    operating_force_n: Value = 0.0
    longest_bounce_s: Value = 0.0
    wiring: Wiring = Wiring.NORMALLY_OPEN

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.wiring is Wiring.NORMALLY_CLOSED:
            object.__setattr__(self, "broken_wire_reads_made", True)
        elif self.broken_wire_reads_made:
            raise InputError(
                "must be false: a broken wire is an open contact, which means not pressed",
                key=self.name("broken_wire_reads_made"),
            )
        self.check("pretravel_m", "lever_ratio", above=0.0)
        self.check("differential_m", "operating_force_n", "longest_bounce_s", at_least=0.0)
        self.check("overtravel_to_damage_m", at_least=0.0, infinite=True)

    @property
    def operate(self) -> Floats:
        return np.ravel(np.asarray(self.pretravel_m) * self.lever_ratio)

    @property
    def release(self) -> Floats:
        return np.ravel((np.asarray(self.pretravel_m) - self.differential_m) * self.lever_ratio)

    @property
    def bounce_s(self) -> Value:
        return self.longest_bounce_s

    @property
    def damage_depth_m(self) -> Value:
        return np.multiply(np.add(self.pretravel_m, self.overtravel_to_damage_m), self.lever_ratio)

    def response(self, x_m: Floats) -> Floats:
        """Return the carriage travel past first touch [m], shape (n, m), at heights x_m (m,) [m]."""
        return np.subtract(self.mount_m, np.asarray(x_m, dtype=np.float64)[None, :])
