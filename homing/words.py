"""The words of a lift file as enumerations; the rest of the program never compares strings.

The order of the members is fixed, since compiled code sees their numbers. The words of the sensors
(approach, facing, switch, wiring) are those of ``sensor_models.kinds``.
"""

from __future__ import annotations

from enum import IntEnum


class Word(IntEnum):
    """A choice that a lift file spells in lower case."""

    @property
    def word(self) -> str:
        """How the lift file spells it."""
        return self.name.lower()


class DriveKind(Word):
    """What joins the motor to the carriage."""

    STRING = 0
    BELT = 1
    LEAD_SCREW = 2


class EncoderPlace(Word):
    """The shaft whose turns are counted."""

    MOTOR = 0
    SPOOL = 1


class WindingsOff(Word):
    """What becomes of the motor's windings when it gets no power."""

    SHORTED = 0
    OPEN = 1


class CommandKind(Word):
    """What the controller sends: a speed to the drive's own loop, or a fraction of battery voltage."""

    SPEED = 0
    DUTY = 1


class StopKind(Word):
    """How the routine stops: held by the drive's loop, windings shorted, or windings open."""

    HOLD = 0
    SHORTED = 1
    OPEN = 2


class Level(Word):
    """An electrical level at the controller's input."""

    LOW = 0
    HIGH = 1


class MagnetShape(Word):
    """Shape of the target magnet."""

    DISC = 0
    BLOCK = 1
