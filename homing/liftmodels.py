"""The tables of a lift file, validated and frozen; names and units are those of the file.

Every field is filled when a model is made: what the file left out was put in before, with its
origin, by ``homing.defaults``. ``None`` means that the key does not exist for this kind of lift.
Sensor tables are in ``homing.sensortables``.
"""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import BaseModel, ConfigDict

from homing.values import choice, count, number, text, truth
from homing.words import CommandKind, DriveKind, EncoderPlace, Level, StopKind, WindingsOff

Positive = Annotated[float, number(above=0)]
NotNegative = Annotated[float, number(least=0)]
Anywhere = Annotated[float, number()]
Share = Annotated[float, number(least=0, most=1)]
Text = Annotated[str, text()]
Truth = Annotated[bool, truth()]


class Table(BaseModel):
    """A table of the file: frozen, no unknown keys; each field's check converts nothing."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class LiftTable(Table):
    """``[lift]``: the carriage and its slides."""

    name: Text
    travel_mm: Positive
    incline_deg: Annotated[float, number(least=0, most=90)]
    moving_mass_kg: Positive
    weight_n: NotNegative
    slides: Text
    friction_n: NotNegative
    static_friction_n: NotNegative
    viscous_n_s_per_m: NotNegative
    sway_mm: NotNegative
    start_mm: NotNegative


class DriveTable(Table):
    """``[drive]``: motors, gear, what pulls the carriage, and the drive's own loop."""

    kind: Annotated[DriveKind, choice(DriveKind)]
    motor: Text | None = None
    motors: Annotated[int, count(least=1)]
    motor_free_speed_rpm: Positive
    motor_stall_torque_nm: Positive
    motor_stall_current_a: Positive
    motor_free_current_a: NotNegative
    nominal_voltage_v: Positive
    rotor_inertia_kg_m2: Positive
    gear_ratio: Positive
    gear_efficiency: Annotated[float, number(above=0, most=1)]
    spool_diameter_mm: Positive | None = None
    pulley_diameter_mm: Positive | None = None
    lead_mm: Positive | None = None
    backlash_mm: NotNegative | None = None
    stiffness_n_per_mm: Positive | None = None
    travel_per_line: Positive
    encoder_counts_per_rev: Annotated[int, count(least=1)]
    encoder_on: Annotated[EncoderPlace, choice(EncoderPlace)]
    when_off: Annotated[WindingsOff, choice(WindingsOff)]
    command: Annotated[CommandKind, choice(CommandKind)]
    speed_loop_time_constant_ms: Positive
    acceleration_mm_s2: Positive
    deceleration_mm_s2: Positive
    current_limit_a: Positive

    @property
    def travel_per_turn_mm(self) -> float:
        """Carriage travel for one turn of spool, pulley or screw [mm]; the string is taken as thin."""
        if self.lead_mm is not None:
            return self.lead_mm * self.travel_per_line
        diameter_mm = self.spool_diameter_mm or self.pulley_diameter_mm or 0.0
        return math.pi * diameter_mm * self.travel_per_line

    @property
    def mm_per_count(self) -> float:
        """Carriage travel for one count of the encoder [mm]."""
        turns = 1.0 if self.encoder_on is EncoderPlace.SPOOL else 1.0 / self.gear_ratio
        return self.travel_per_turn_mm * turns / self.encoder_counts_per_rev

    @property
    def free_speed_mm_s(self) -> float:
        """Carriage speed of the unloaded drive at nominal voltage [mm/s]."""
        return self.motor_free_speed_rpm / 60 / self.gear_ratio * self.travel_per_turn_mm


class StringTable(Table):
    """``[string]``: pull-up string and optional return string, as felt at the carriage."""

    type: Text
    stiffness_n_per_mm: Positive
    damping_n_s_per_m: NotNegative
    spare_line_mm: NotNegative
    return_string: Truth
    return_slack_mm: NotNegative
    return_preload_n: NotNegative
    return_stiffness_n_per_mm: Positive
    return_take_up_mm: NotNegative


class StopTable(Table):
    """``[stop]``: the hard stops."""

    stiffness_n_per_mm: Positive
    restitution: Annotated[float, number(least=0.05, most=1)]


class BatteryTable(Table):
    """``[battery]``: supply with internal resistance and what else hangs on it."""

    open_circuit_v: Positive
    resistance_ohm: NotNegative
    other_load_a: NotNegative


class ControllerTable(Table):
    """``[controller]``: the loop that runs the routine."""

    period_ms: Positive
    jitter_ms: NotNegative
    late_loop_probability: Share
    late_loop_ms: Positive
    sensor_latency_ms: NotNegative
    drive_latency_ms: NotNegative


class RoutineTable(Table):
    """``[routine]``: settings of the built-in sequence.

    ``reference_mm`` None: the nominal trip height of the routine's sensor.
    """

    sensor: Text
    referenced_at_start: Truth
    first_lift_mm: Positive
    fast_speed_mm_s: Positive
    slow_zone_mm: NotNegative
    creep_speed_mm_s: Positive
    back_off_mm: Positive
    leave_limit_mm: Positive
    reference_mm: Anywhere | None = None
    stop: Annotated[StopKind, choice(StopKind)]
    settle_ms: Positive
    agree_readings: Annotated[int, count(least=1)]
    timeout_s: Positive
    travel_guard_mm: Positive
    no_motion_ms: Positive
    recheck: Truth
    recheck_tolerance_mm: Positive
    retries: Annotated[int, count(least=0, most=100)]


class RequirementsTable(Table):
    """``[requirements]``: limits to keep and how often one may be missed."""

    allowed_failure_rate: Annotated[float, number(above=0, below=1)]
    overtravel_mm: Positive
    impact_speed_mm_s: Positive
    slack_mm: Positive
    zero_error_mm: Positive
    time_to_zero_s: Positive
    accepted_false_triggers: Annotated[int, count(least=0)]
    peak_current_a: Positive


class LogRole(Table):
    """One column of a log and how to read it."""

    column: Text
    unit: Text | None = None
    active: Annotated[Level, choice(Level)] | None = None
    invert: Truth = False


class LogTable(Table):
    """``[log]``: which column plays which role, and how the log is laid out.

    ``hold_s``: how long a value of a change-only log counts; ``name`` and ``value``: headers of the long
    layout (time, name, value).
    """

    roles: dict[str, LogRole]
    mm_per_count: Positive | None = None
    hold_s: Positive | None = None
    name: LogRole | None = None
    value: LogRole | None = None
