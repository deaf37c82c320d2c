"""What is possible in a lift file but worth telling: each note is one sentence."""

from __future__ import annotations

import math
from collections.abc import Iterator

from homing.liftfile import Lift
from homing.motor import NOTED_MISMATCH, Motor
from homing.partslists import read_list
from homing.sensortables import ContactTable
from homing.values import typical


def notes(lift: Lift) -> tuple[str, ...]:
    """Return what is odd about a lift, most doubtful first."""
    return (*_drive_notes(lift), *_carriage_notes(lift), *_routine_notes(lift), *_sensor_notes(lift))


def _drive_notes(lift: Lift) -> Iterator[str]:
    drive = lift.drive
    motor = Motor(
        free_speed_rad_per_s=drive.motor_free_speed_rpm * 2 * math.pi / 60,
        stall_torque_nm=drive.motor_stall_torque_nm,
        stall_current_a=drive.motor_stall_current_a,
        free_current_a=drive.motor_free_current_a,
        nominal_v=drive.nominal_voltage_v,
    )
    mismatch = abs(float(motor.mismatch))
    if mismatch > NOTED_MISMATCH:
        yield (
            f"the motor's torque per ampere and its volts per speed differ by {mismatch:.0%} (equal for an "
            "ideal motor): one of free speed, stall torque and stall current is doubtful"
        )


def _carriage_notes(lift: Lift) -> Iterator[str]:
    table = lift.lift
    least_kg = read_list("slides")[table.slides]["mass_kg_per_m"].low * table.travel_mm / 1000
    if table.moving_mass_kg < least_kg:
        yield (
            f'lift.moving_mass_kg {table.moving_mass_kg:g} is less than "{table.slides}" slides of this '
            f"travel usually weigh ({least_kg:.2f} kg)"
        )
    pull_n = table.weight_n * math.sin(math.radians(table.incline_deg))
    if lift.string is not None and not lift.string.return_string and pull_n <= table.static_friction_n:
        yield (
            f"along the slides the carriage weighs {pull_n:.1f} N, no more than the friction that holds it "
            f"at rest ({table.static_friction_n:g} N): without a return string it hangs where it is"
        )


def _routine_notes(lift: Lift) -> Iterator[str]:
    routine, free_mm_s = lift.routine, lift.drive.free_speed_mm_s
    if routine.creep_speed_mm_s > routine.fast_speed_mm_s:
        yield (
            f"routine.creep_speed_mm_s {routine.creep_speed_mm_s:g} is above fast_speed_mm_s "
            f"{routine.fast_speed_mm_s:g}: the slow approach is the faster one"
        )
    if routine.fast_speed_mm_s > free_mm_s:
        yield (
            f"routine.fast_speed_mm_s {routine.fast_speed_mm_s:g} is above the drive's free speed at "
            f"nominal voltage, {free_mm_s:.0f} mm/s"
        )


def _sensor_notes(lift: Lift) -> Iterator[str]:
    for sensor in lift.sensors:
        if not isinstance(sensor, ContactTable):
            continue
        if typical(sensor.differential_mm) > typical(sensor.pretravel_mm):
            yield (
                f"sensor.{sensor.name}.differential_mm is above pretravel_mm: the switch would let go "
                "only after the carriage has left it"
            )
