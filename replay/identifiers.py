"""The words of a diagnosis: identifiers of JSON as enumerations."""

from __future__ import annotations

from enum import StrEnum


class Cause(StrEnum):
    """Why a lift overran; the values are the identifiers in JSON."""

    LATE_LOOP = "late_loop"
    SHORT_MARGIN = "short_margin"
    TARGET_PAST_SENSOR = "target_past_sensor"
    MISSED_EDGE = "missed_edge"
    CONTACT_CHATTER = "contact_chatter"
    ZERO_WHILE_MOVING = "zero_while_moving"
    COUNTER_RESET = "counter_reset"
    COUNT_LOSS = "count_loss"
    DRIVE_SLIP = "drive_slip"
    STRING_STRETCH = "string_stretch"
    SLACK_PAYOUT = "slack_payout"
    REVERSE_WRAP = "reverse_wrap"
    OVERLAPPED_WRAPS = "overlapped_wraps"
    SUPPLY_DIP = "supply_dip"
    DRIVE_SIGN = "drive_sign"
    SENSOR_POLARITY = "sensor_polarity"
    CABLE_BREAK = "cable_break"
    AMBIENT_LIGHT = "ambient_light"
    ELECTRICAL_NOISE = "electrical_noise"
    SWITCH_DAMAGE = "switch_damage"
    TARGET_LOST = "target_lost"
    STICKY_TRAVEL = "sticky_travel"
    MOTORS_OPPOSED = "motors_opposed"
    PRESSING_ON_STOP = "pressing_on_stop"
    LIMIT_NOT_CHECKED = "limit_not_checked"
    UNKNOWN_START = "unknown_start"
    STALE_READING = "stale_reading"
    CANNOT_TELL = "cannot_tell"

    @property
    def words(self) -> str:
        """The identifier in plain words."""
        return self.value.replace("_", " ")


class Verdict(StrEnum):
    """Whether the lift overran."""

    OVERRUN = "overrun"
    NO_OVERRUN = "no_overrun"
    CANNOT_TELL = "cannot_tell"


class Shape(StrEnum):
    """How the edge position goes over the visits."""

    STEADY = "steady"
    STEP = "step"
    RAMP = "ramp"
    SCATTER = "scatter"
    TOO_FEW = "too_few"


class Part(StrEnum):
    """Parts of the stop budget as a log can separate them."""

    SENSOR_AGE = "sensor_age"
    LOOP_WAIT = "loop_wait"
    LATE_LOOP = "late_loop"
    SENSOR_AGE_AND_LOOP_WAIT = "sensor_age+loop_wait"
    NOT_SEEN = "not_seen"
    COMMAND_DELAY = "command_delay"
    BRAKING = "braking"
    SLACK = "slack"
    BRAKING_AND_SLACK = "braking+slack"
