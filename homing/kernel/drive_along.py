"""The plant driven by recorded commands: no routine, no sensor, no random numbers.

For the fit of a lift to its logs and for what-if studies of one visit.
"""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled
from homing.kernel.codes import Mode
from homing.kernel.plant import battery, motor_current
from homing.kernel.step import TOUCH_FLOOR_M_S, grip_or_slide, one_step

#: Columns of the result, one row an instant; SI. The current is that of the battery.
DRIVEN_COLUMNS = ("spool_m", "carriage_m", "spool_m_s", "current_a")


@compiled
def place(run: Any, body: Any, start_s: float, spool_m: float, carriage_m: float, speed_m_s: float) -> None:
    """Put spool and carriage where the recording begins, healthy and with one common speed."""
    body.time_s = start_s
    body.spool_m, body.carriage_m = spool_m, carriage_m
    body.spool_m_s = body.carriage_m_s = speed_m_s
    body.integral_a = body.onset_spool_m = 0.0
    way = 0.0 if speed_m_s == 0.0 else math.copysign(1.0, speed_m_s)
    body.spool_way = body.carriage_way = way
    body.step_s, body.rates_known = 1.0e-4, 0
    body.touch_low_m_s = body.touch_high_m_s = TOUCH_FLOOR_M_S
    body.line_offset_m = body.supply_loss_v = body.extra_friction_n = 0.0
    body.string_on = body.force_share = body.shorted_share = body.command_sign = 1.0
    body.mode = Mode.OPEN.value


@compiled
def obey(run: Any, body: Any, duty: float, bus_v: float, off: int) -> None:
    """Take the next recorded command; a duty of exactly zero leaves the windings as ``off`` says."""
    body.mode = off if duty == 0.0 else Mode.DUTY.value
    body.duty = min(max(duty, -1.0), 1.0)
    run.open_circuit_v = bus_v
    body.rates_known = 0
    grip_or_slide(run, body)


@compiled
def note_driven(run: Any, body: Any, out: Any) -> None:
    """Write one row of ``DRIVEN_COLUMNS``."""
    current, _ = motor_current(run, body, body.time_s, body.spool_m_s, body.integral_a)
    out[0], out[1], out[2] = body.spool_m, body.carriage_m, body.spool_m_s
    out[3], _ = battery(run, body, current, body.spool_m_s)


@compiled
def drive_along(run: Any, body: Any, commands: Any, off: int, time_s: Any, out: Any) -> None:
    """Drive the plant with recorded commands and note it at given instants.

    Parameters
    ----------
    run : record ``RUN``
        Its ``open_circuit_v`` is overwritten by the recorded voltages; with ``battery_ohm`` 0 these are
        the voltages at the terminals.
    body : record ``BODY``, as ``place`` leaves it
    commands : (m, 3) instants at which a command takes effect [s], duty, battery voltage [V]; rising
    off : ``Mode.SHORTED`` or ``Mode.OPEN``, for a duty of zero
    time_s : (n,) rising instants [s]
    out : (n, len(DRIVEN_COLUMNS)) filled
    """
    following = 0
    for i in range(len(time_s)):
        while following < len(commands) and commands[following, 0] <= time_s[i]:
            while body.time_s < commands[following, 0]:
                one_step(run, body, commands[following, 0])
            obey(run, body, commands[following, 1], commands[following, 2], off)
            following += 1
        while body.time_s < time_s[i]:
            one_step(run, body, time_s[i])
        note_driven(run, body, out[i])
