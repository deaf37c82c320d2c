"""What stands above every exported routine: whose it is, how to call it, and the cautions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from homing.batches import nominal_batch
from homing.export.identifiers import comment_lines
from homing.export.origins import tidy
from homing.export.program import sent
from homing.kernel.codes import Order
from homing.lift import stall_limit_a
from homing.liftfile import BUILT_IN
from homing.report.cautions import cautions
from homing.report.jsonform import program_version
from homing.sensortables import StallTable
from homing.words import Level
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.setting import Setting

WIDTH = 96


def header_lines(setting: Setting, setting_up: str) -> list[str]:
    """Lines of the header without comment signs; ``setting_up`` says how the language begins a routine."""
    lines: list[str] = []
    for paragraph in (*_about(setting), *use(setting, setting_up)):
        lines += [*comment_lines(paragraph, "", WIDTH), ""]
    lines.append("Cautions")
    for caution in export_cautions(setting):
        first, *rest = comment_lines(caution, "", WIDTH - 2)
        lines += ["- " + first, *("  " + line for line in rest)]
    return lines


def export_cautions(setting: Setting) -> tuple[str, ...]:
    """The cautions of every report, for the sensor of this lift."""
    return cautions(magnet=setting.lift.sensor().kind is SensorKind.MAGNET)


def _about(setting: Setting) -> Iterator[str]:
    lift = setting.lift
    source = f"the {BUILT_IN}" if lift.source == BUILT_IN else f"the lift file {lift.source}"
    yield (
        f"{lift.name}: the routine that retracts the lift and finds its zero. Written by downstop "
        f"{program_version()} from {source}; change that and export again instead of changing this file."
    )
    yield (
        "It is the very routine that downstop verify judges, and takes the same decision in every loop for "
        "the same inputs. Exporting checks nothing: verify the lift file first."
    )


def use(setting: Setting, setting_up: str) -> Iterator[str]:
    """How to call it on the robot, one paragraph a subject."""
    lift = setting.lift
    yield (
        f"{setting_up} Then call step once in every pass of the control loop, which is described with a "
        f"period of {tidy(lift.controller.period_ms):g} ms. Inputs: the time [s] of a clock that only goes "
        f"forward; {_reading(setting)}; the raw counts, rising outwards, that nothing else resets; and "
        "whether a start is requested (a button held is one request, and it lasts until the routine uses it)."
    )
    yield (
        f"Obey the order of the last step, negative inwards. {' '.join(_orders(setting))} If the loop may "
        "stop calling step, the drive must stop by itself. To begin once more, call reset."
    )
    if setting.table.told_by_standing:
        limit_a = min(stall_limit_a(lift), lift.drive.current_limit_a / lift.drive.motors)
        yield (
            "The hard stop itself is the sensor: while this routine runs, the current of each motor must be "
            f"limited to {limit_a:.3g} A, as it is in the simulation."
        )


def _orders(setting: Setting) -> Iterator[str]:
    """What the orders mean that this routine gives."""
    drive, record = setting.lift.drive, nominal_batch(setting).runs[0]
    given = {sent(record, phase)[0] for phase in setting.table.phases}
    ramps = f"{drive.acceleration_mm_s2:g} and {drive.deceleration_mm_s2:g} mm/s2"
    meanings = {
        Order.SPEED: f"Speed: give the command [mm/s] to the drive's own speed loop, with ramps {ramps}.",
        Order.DUTY: "Duty: send the command as a fraction of the battery voltage.",
        Order.HOLD: "Hold: stop and hold, with speed 0.",
        Order.SHORTED: "Shorted: no power, windings shorted.",
        Order.OPEN: "Open: no power, windings open.",
    }
    yield from (meaning for order, meaning in meanings.items() if order in given)


def _reading(setting: Setting) -> str:
    sensor = setting.lift.sensor()
    if isinstance(sensor, StallTable):
        return "a reading, which is not looked at since the hard stop itself is the sensor"
    level = "low" if sensor.active is Level.LOW else "high"
    if sensor.kind is SensorKind.DISTANCE:
        return (
            f'the reading of sensor "{sensor.name}" (true: made, its voltage past threshold_v, until it is '
            "back by hysteresis_v)"
        )
    return f'the reading of sensor "{sensor.name}" (true: made, which is when the input is {level})'
