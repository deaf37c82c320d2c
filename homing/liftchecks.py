"""What only several keys of a lift file together can tell: lifts that cannot exist."""

from __future__ import annotations

from collections import Counter

from homing.kernel.codes import Order
from homing.liftfile import Lift
from homing.sensortables import (
    AnySensor,
    ContactTable,
    DistanceTable,
    MagnetTable,
    ReflectiveTable,
)
from homing.values import Range, typical
from homing.words import CommandKind, DriveKind, MagnetShape, StopKind
from sensor_models.errors import InputError
from sensor_models.kinds import Approach, SwitchKind, Wiring

#: Readings and commands that may be under way at once; the simulation has room for twice as many.
LONGEST_LATENCY_LOOPS = 10


def check(lift: Lift) -> None:
    """Refuse a lift that cannot exist.

    Raises
    ------
    InputError
        For the first impossibility.
    """
    _check_lift(lift)
    _check_drive(lift)
    _check_names(lift)
    for group, sensors in (("sensor", lift.sensors), ("candidate", lift.candidates)):
        for sensor in sensors:
            _check_sensor(lift, f"{group}.{sensor.name}", sensor)


def _refuse(lift: Lift, key: str, must: str, got: object = None) -> InputError:
    return InputError(must, file=lift.source, key=key, got=got)


def _check_lift(lift: Lift) -> None:
    table = lift.lift
    if table.start_mm > table.travel_mm:
        raise _refuse(
            lift, "lift.start_mm", f"must be within the travel, 0 to {table.travel_mm:g}", table.start_mm
        )
    if table.static_friction_n < table.friction_n:
        raise _refuse(
            lift,
            "lift.static_friction_n",
            f"must be at least friction_n, {table.friction_n:g}: what holds at rest is never the weaker",
            table.static_friction_n,
        )
    if lift.controller.late_loop_ms <= lift.controller.period_ms:
        raise _refuse(
            lift,
            "controller.late_loop_ms",
            f"must be longer than period_ms, {lift.controller.period_ms:g}: a late loop's whole length",
            lift.controller.late_loop_ms,
        )
    for key in ("sensor_latency_ms", "drive_latency_ms"):
        latency_ms, most_ms = getattr(lift.controller, key), LONGEST_LATENCY_LOOPS * lift.controller.period_ms
        if latency_ms > most_ms:
            must = f"must be at most {LONGEST_LATENCY_LOOPS} periods of the loop, {most_ms:g}"
            raise _refuse(lift, f"controller.{key}", must, latency_ms)


def _check_drive(lift: Lift) -> None:
    drive = lift.drive
    if drive.motor_free_current_a >= drive.motor_stall_current_a:
        raise _refuse(
            lift,
            "drive.motor_free_current_a",
            f"must be below motor_stall_current_a, {drive.motor_stall_current_a:g}",
            drive.motor_free_current_a,
        )
    level = lift.lift.incline_deg == 0
    if drive.kind is DriveKind.STRING and level and lift.string is not None and not lift.string.return_string:
        raise _refuse(
            lift,
            "string.return_string",
            "must be true when incline_deg is 0: nothing else pulls a horizontal carriage back "
            '(or use a drive of kind "belt" or "lead_screw")',
            False,
        )
    if drive.command is CommandKind.DUTY and lift.routine.stop is StopKind.HOLD:
        raise _refuse(
            lift,
            "routine.stop",
            'must be "shorted" or "open" when drive.command is "duty": only the drive\'s speed loop can hold',
            "hold",
        )
    _check_own_stops(lift)


def _check_own_stops(lift: Lift) -> None:
    """The windings of a drive without its own speed loop cannot hold a place, nor run at a speed."""
    own = lift.own_routine
    if own is None or lift.drive.command is not CommandKind.DUTY:
        return
    for number, phase in enumerate(own.phases, start=1):
        if phase.order is Order.HOLD:
            must = 'must stop by "shorted" or "open" when drive.command is "duty"'
            raise _refuse(lift, f"routine.phase {number} ({phase.name}), command", must, "hold")


def _check_names(lift: Lift) -> None:
    names = [sensor.name for sensor in (*lift.sensors, *lift.candidates)]
    name, times = Counter(names).most_common(1)[0]
    if times > 1:
        raise _refuse(lift, "sensor.name", "must be different for every sensor and candidate", name)
    for name in names:
        if not name.replace("_", "").replace("-", "").isalnum():
            raise _refuse(lift, "sensor.name", "must be made of letters, digits, - and _", name)
    if lift.routine.sensor not in [sensor.name for sensor in lift.sensors]:
        known = " or ".join(f'"{sensor.name}"' for sensor in lift.sensors)
        raise _refuse(lift, "routine.sensor", f"must name one of the sensors, {known}", lift.routine.sensor)


def _check_sensor(lift: Lift, key: str, sensor: AnySensor) -> None:
    high = sensor.mount_mm.high if isinstance(sensor.mount_mm, Range) else typical(sensor.mount_mm)
    if high > lift.lift.travel_mm:
        raise _refuse(
            lift, f"{key}.mount_mm", f"must not be above the travel, {lift.lift.travel_mm:g} mm", high
        )
    if isinstance(sensor, MagnetTable):
        _check_magnet(lift, key, sensor, high)
    elif isinstance(sensor, ReflectiveTable):
        _check_reflective(lift, key, sensor)
    elif isinstance(sensor, DistanceTable):
        _check_distance(lift, key, sensor)
    elif isinstance(sensor, ContactTable):
        _check_wiring(lift, key, sensor)


def _check_magnet(lift: Lift, key: str, sensor: MagnetTable, mount_mm: float) -> None:
    magnet, disc = sensor.magnet, sensor.magnet.shape is MagnetShape.DISC
    needs = ("diameter_mm", "height_mm") if disc else ("size_mm",)
    others = ("size_mm",) if disc else ("diameter_mm", "height_mm")
    for name in needs:
        if getattr(magnet, name) is None:
            raise _refuse(lift, f"{key}.magnet.{name}", f'must be given for shape "{magnet.shape.word}"')
    for name in others:
        if getattr(magnet, name) is not None:
            raise _refuse(lift, f"{key}.magnet.{name}", f'must be left out for shape "{magnet.shape.word}"')
    if sensor.approach is Approach.HEAD_ON and mount_mm > 0:
        raise _refuse(
            lift,
            f"{key}.mount_mm",
            'must not be above 0 with approach = "head_on": the magnet would hit the switch',
            mount_mm,
        )
    operate, release = typical(sensor.operate_mt), typical(sensor.release_mt)
    if release >= operate:
        raise _refuse(lift, f"{key}.release_mt", f"must be below operate_mt, {operate:g}", release)
    latching = sensor.switch is SwitchKind.LATCHING
    if latching and release >= 0:
        raise _refuse(lift, f"{key}.release_mt", "must be negative for a latching switch", release)
    if not latching and release < 0:
        raise _refuse(
            lift,
            f"{key}.release_mt",
            f"must not be negative for {sensor.switch.name.lower()} switches",
            release,
        )


def _check_reflective(lift: Lift, key: str, sensor: ReflectiveTable) -> None:
    if (sensor.curve is None) == (sensor.peak_gap_mm is None):
        raise _refuse(lift, f"{key}.curve", "or peak_gap_mm must be given, and only one of the two")
    threshold, hysteresis = typical(sensor.threshold), typical(sensor.hysteresis)
    if hysteresis >= threshold:
        raise _refuse(lift, f"{key}.hysteresis", f"must be below threshold, {threshold:g}", hysteresis)


def _check_distance(lift: Lift, key: str, sensor: DistanceTable) -> None:
    least, most = typical(sensor.min_mm), typical(sensor.max_mm)
    if least >= most:
        raise _refuse(lift, f"{key}.min_mm", f"must be below max_mm, {most:g}", least)
    volts, threshold = [v for _, v in sensor.curve], typical(sensor.threshold_v)
    if not min(volts) < threshold < max(volts):
        raise _refuse(
            lift,
            f"{key}.threshold_v",
            f"must be within the curve, {min(volts):g} to {max(volts):g} V",
            threshold,
        )
    if typical(sensor.hysteresis_v) >= threshold:
        raise _refuse(
            lift,
            f"{key}.hysteresis_v",
            f"must be below threshold_v, {threshold:g}",
            typical(sensor.hysteresis_v),
        )


def _check_wiring(lift: Lift, key: str, sensor: ContactTable) -> None:
    """A broken wire cannot be told from an open contact."""
    closed = sensor.wiring is Wiring.NORMALLY_CLOSED
    if (sensor.open_wire_reads is sensor.active) is not closed:
        word = "as" if closed else "the other level than"
        raise _refuse(
            lift,
            f"{key}.open_wire_reads",
            f'must be {word} active ("{sensor.active.word}") with wiring = "{sensor.wiring.name.lower()}": '
            "a broken wire looks like an open contact",
            sensor.open_wire_reads.word,
        )
