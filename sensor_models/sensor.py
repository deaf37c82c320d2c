"""What all sensors have in common: a signal along the travel, two thresholds, and how it is read."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np

from sensor_models.checks import check_number, per_run
from sensor_models.errors import InputError
from sensor_models.kinds import Floats, SensorKind, Value


@dataclass(frozen=True, kw_only=True, eq=False)
class Sensor(ABC):
    """One sensor and its target, or an ensemble of n of them.

    A sensor answers to its target with a signed quantity, a function of the carriage height x
    (``response``). It compares that, or its size if ``two_sided``, with two thresholds: it is made when
    this ``signal`` rises to ``operate`` and lets go when it falls to ``release``. Every float field may
    be an array of shape (n, 1); the object is then an ensemble of n sensors.

    Parameters
    ----------
    mount_m : float or ndarray, shape (n, 1)
        Place of the sensor along the travel [m]; each kind says what stands level there.
    sample_period_s : float or ndarray
        Time between two samples of a part that holds its output in between [s]; 0 = continuous.
    noise : float or ndarray
        Standard deviation added to the signal at every sample [signal units].
    flip_probability : float or ndarray
        Probability that one reading comes out inverted.
    broken_wire_reads_made : bool
        What the controller reads when the wire is broken.
    """

    kind: ClassVar[SensorKind]
    quantity: ClassVar[str]
    unit: ClassVar[str]
    display_scale: ClassVar[float] = 1.0
    #: The finely tabulated part of the travel begins at this share of the way to the release threshold.
    fine_share: ClassVar[float] = 0.4

    mount_m: Value
    sample_period_s: Value = 0.0
    noise: Value = 0.0
    flip_probability: Value = 0.0
    broken_wire_reads_made: bool = False

    def __post_init__(self) -> None:
        self.check("mount_m")
        self.check("sample_period_s", "noise", at_least=0.0)
        self.check("flip_probability", at_least=0.0, at_most=1.0)
        if not isinstance(self.broken_wire_reads_made, bool):
            given = self.broken_wire_reads_made
            raise InputError("must be true or false", key=self.name("broken_wire_reads_made"), got=given)

    @abstractmethod
    def response(self, x_m: Floats) -> Floats:
        """Return the signed quantity at carriage heights x_m (m,) [m], shape (n, m)."""

    def signal(self, x_m: Floats) -> Floats:
        """Return what is compared with the thresholds at heights x_m (m,) [m], shape (n, m)."""
        response = self.response(x_m)
        return np.abs(response) if self.two_sided else response

    @property
    def two_sided(self) -> bool:
        """Whether the size of the response counts, not its sign."""
        return False

    @property
    @abstractmethod
    def operate(self) -> Floats:
        """Signal at which it is made, shape (n,)."""

    @property
    @abstractmethod
    def release(self) -> Floats:
        """Signal at which it lets go, shape (n,)."""

    @property
    def main(self) -> Sensor:
        """The sensor with nothing but its target in front of it: what the fine part of a table follows."""
        return self

    @property
    def runs(self) -> int:
        """Number of sensors in this object: 1, or the length of its arrays."""
        return int(np.broadcast_shapes(*(np.shape(value) for value in self._numbers()), (1, 1))[0])

    @property
    def bounce_s(self) -> Value:
        """Longest burst of contact bounce at make and at break [s]."""
        return 0.0

    @property
    def quantum(self) -> Value:
        """Step of the converter that reads the signal [signal units]; 0 = none."""
        return 0.0

    @property
    def damage_depth_m(self) -> Value:
        """Carriage travel below ``mount_m`` at which the sensor is damaged [m]; infinite = never."""
        return np.inf

    def name(self, field: str) -> str:
        """Name of a field for a message."""
        return f"{type(self).__name__}.{field}"

    def check(self, *names: str, **bounds: Any) -> None:
        """Check fields by ``check_number``."""
        for name in names:
            check_number(self.name(name), getattr(self, name), **bounds)

    def thresholds(self) -> tuple[Floats, Floats]:
        """Return operate and release, both of shape (runs,)."""
        return per_run(self.operate, self.runs), per_run(self.release, self.runs)

    def _numbers(self) -> Iterator[Any]:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, (float, int, np.ndarray)):
                yield value
