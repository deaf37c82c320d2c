"""Words that cross function borders, as enumerations, and the two number types of the package."""

from __future__ import annotations

from enum import IntEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]

#: A parameter of one sensor (float) or of an ensemble of n sensors (array of shape (n, 1)).
Value: TypeAlias = float | Floats


class SensorKind(IntEnum):
    """What a sensor goes by."""

    MAGNET = 0
    REFLECTIVE = 1
    DISTANCE = 2
    CONTACT = 3
    STALL = 4


class SwitchKind(IntEnum):
    """How a Hall switch answers to the two poles.

    ``UNIPOLAR`` answers to one polarity (positive = south pole at its marked face), ``OMNIPOLAR`` to
    both alike, ``LATCHING`` is made by the positive one and lets go only at the negative one.
    """

    UNIPOLAR = 0
    OMNIPOLAR = 1
    LATCHING = 2


class Facing(IntEnum):
    """Which pole of the magnet looks at the switch; south gives a positive flux density."""

    SOUTH = 0
    NORTH = 1

    @property
    def sign(self) -> float:
        return 1.0 if self is Facing.SOUTH else -1.0


class Approach(IntEnum):
    """How the target comes: past the sensing element, or straight at it."""

    SLIDE_BY = 0
    HEAD_ON = 1


class Wiring(IntEnum):
    """Contact that closes when pressed, or opens when pressed."""

    NORMALLY_OPEN = 0
    NORMALLY_CLOSED = 1
