"""Enumerations shared by kernels and the layers above; values are what the kernels compare."""

from __future__ import annotations

from enum import IntEnum


class Coupling(IntEnum):
    """How spool and carriage are joined."""

    STRING = 0
    BELT = 1
    LEAD_SCREW = 2


class Mode(IntEnum):
    """What the drive does with the motor."""

    SPEED = 0
    DUTY = 1
    SHORTED = 2
    OPEN = 3


class Order(IntEnum):
    """Command of a phase: a speed along the travel, a duty, or one of the stops."""

    SPEED = 0
    DUTY = 1
    HOLD = 2
    SHORTED = 3
    OPEN = 4


class Condition(IntEnum):
    """What a row of the table may ask; ``a`` is the condition's own parameter (SI)."""

    START = 0  # a start was requested
    MADE = 1  # the last reading is made
    MADE_RUN = 2  # the last a readings are all made
    CLEAR_RUN = 3  # the last a readings are all not made
    CLEAR_BY = 4  # not made, and moved out a metres since it last was (or since the phase began)
    STANDSTILL = 5  # counts still for a seconds
    TIMER_OVER = 6  # in this phase for a seconds
    MOVED = 7  # moved a metres either way in this phase
    MOVED_OUT = 8  # moved a metres outwards in this phase
    NOT_MOVING = 9  # told to move, counts still for a seconds
    WRONG_WAY = 10  # moved a metres against the command in this phase
    REFERENCED = 11  # a zero has been declared
    BELOW = 12  # referenced and below a metres
    ABOVE = 13  # referenced and above a metres
    JUMPED = 14  # counts changed faster than a metres per second allows
    EDGE_LONG_LOOP = 15  # the captured edge was read across an overlong loop
    RETRIES_USED = 16  # a retries are used up
    EDGES_AGREE = 17  # the last two edges lie within a metres
    JUST_MADE = 18  # this reading is made, the last one was not
    JUST_RELEASED = 19  # this reading is not made, the last one was
    MOVED_IN = 20  # moved a metres inwards in this phase
    MADE_ABOVE = 21  # made, referenced and above a metres: where the target cannot be


class Effect(IntEnum):
    """What a row does besides changing the phase; bits of a mask."""

    CAPTURE_EDGE = 1  # remember where the reading became made
    KEEP_EDGE = 2  # keep the captured edge for comparison
    SET_ZERO = 4  # declare the captured edge to be the reference height
    COUNT_RETRY = 8
    ZERO_HERE = 16  # declare the present counts to be the reference height
    FORGET_RETRIES = 32
    FORGET_ZERO = 64
    KEEP_CLOCKS = 128  # enter the phase without starting its timer and distance anew


class Asks(IntEnum):
    """What a row asks for that the run itself must know; bits of a mask."""

    MADE = 1  # acting on it accepts the reading
    START = 2  # taking it uses up the request


class Ended(IntEnum):
    """How the routine stood when a run was over."""

    STILL_RUNNING = 0
    ZEROED = 1
    FAULTED = 2


class Fault(IntEnum):
    """What is injected into a run; ``faults.py`` says what each alters."""

    NONE = 0
    STUCK_ON = 1
    STUCK_OFF = 2
    INVERTED = 3
    HEIGHT_DROPOUT = 4
    WIRE_BREAK = 5
    TARGET_DROPPED = 6
    TARGET_TURNED = 7
    TARGET_SHIFTED = 8
    AMBIENT = 9
    NOISE = 10
    WORN_CONTACT = 11
    WEAK_TARGET = 12
    COUNT_RESET = 13
    COUNT_LOSS = 14
    COUNT_FROZEN = 15
    HUB_SLIP = 16
    DRIVE_REVERSED = 17
    DEAD_MOTOR = 18
    MOTORS_OPPOSED = 19
    STICKY_SPOT = 20
    STRING_OFF_PULLEY = 21
    STRING_BROKEN = 22
    LATE_LOOP = 23
    STALE_READINGS = 24
    SUPPLY_DIP = 25
    BRAKE_LOST = 26


class Reason(IntEnum):
    """Why a routine stopped itself (0: it did not)."""

    NONE = 0
    MADE_TOO_HIGH = 1
    NEVER_STEADY = 2
    TIME_OUT = 3
    TRAVEL_GUARD = 4
    NOT_MOVING = 5
    WRONG_WAY = 6
    COUNTS_JUMPED = 7
    BELOW_SENSOR = 8
    DOES_NOT_STOP = 9
    READING_LOST = 10
    NEVER_RELEASED = 11
    NOT_FOUND_AGAIN = 12
    EDGE_NOT_TRUSTED = 13
    EDGES_DISAGREE = 14
    OWN = 15  # a row of an own table; the row says why


#: One sentence a reason, as a person would say it.
REASON_TEXT: dict[Reason, str] = {
    Reason.NONE: "",
    Reason.MADE_TOO_HIGH: "sensor made far above where it can be",
    Reason.NEVER_STEADY: "reading never steady while standing",
    Reason.TIME_OUT: "phase took too long",
    Reason.TRAVEL_GUARD: "moved further than the travel guard allows",
    Reason.NOT_MOVING: "told to move, but the counts stand still",
    Reason.WRONG_WAY: "moved against the command",
    Reason.COUNTS_JUMPED: "counts jumped further than the lift can move",
    Reason.BELOW_SENSOR: "below the sensor, and it was never made",
    Reason.DOES_NOT_STOP: "told to stop, but it keeps moving",
    Reason.READING_LOST: "stopped on a reading that was gone at standstill, too often",
    Reason.NEVER_RELEASED: "moved out, but the sensor does not let go",
    Reason.NOT_FOUND_AGAIN: "slow approach did not find the sensor again",
    Reason.EDGE_NOT_TRUSTED: "edge read across an overlong loop, too often",
    Reason.EDGES_DISAGREE: "two approaches found different edges",
    Reason.OWN: "a row of its own table",
}
