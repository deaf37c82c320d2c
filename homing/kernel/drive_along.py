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
    """Take the next recorded command; a duty of exactly zero leaves the windings as ``off`` says.

    A voltage of 0 means that none was recorded: the battery of the lift stays.
    """
    body.mode = off if duty == 0.0 else Mode.DUTY.value
    body.duty = min(max(duty, -1.0), 1.0)
    if bus_v > 0.0:
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
def drive_along(
    run: Any, body: Any, commands: Any, delay_s: float, off: int, time_s: Any, out: Any
) -> None:  # fmt: skip
    """Drive the plant with recorded commands and note it at given instants.

    Parameters
    ----------
    run : record ``RUN``
        Its ``open_circuit_v`` is overwritten by recorded voltages; with ``battery_ohm`` 0 these are the
        voltages at the terminals.
    body : record ``BODY``, as ``place`` leaves it
    commands : (m, 3) instants at which a command is sent [s], duty, battery voltage [V]; rising
        The first one is in force from the start.
    delay_s : time from sending to taking effect [s]
    off : ``Mode.SHORTED`` or ``Mode.OPEN``, for a duty of zero
    time_s : (n,) rising instants [s]
    out : (n, len(DRIVEN_COLUMNS)) filled
    """
    obey(run, body, commands[0, 1], commands[0, 2], off)
    following = 1
    for i in range(len(time_s)):
        while following < len(commands) and commands[following, 0] + delay_s <= time_s[i]:
            while body.time_s < commands[following, 0] + delay_s:
                one_step(run, body, commands[following, 0] + delay_s)
            obey(run, body, commands[following, 1], commands[following, 2], off)
            following += 1
        while body.time_s < time_s[i]:
            one_step(run, body, time_s[i])
        note_driven(run, body, out[i])


@compiled
def drive_moves(
    runs: Any, body: Any, begin: Any, delays_s: Any, commands: Any, command_first: Any, off: int, time_s: Any,
    time_first: Any, out: Any,
) -> None:  # fmt: skip
    """Drive several lifts, each from rest, along several recorded moves.

    Parameters
    ----------
    runs : (k,) records ``RUN``
    begin : (k, 2) heights of spool and carriage at which every move begins [m]
    delays_s : (k,) delay of the commands [s]
    commands, time_s : rows of all moves one after the other, as in ``drive_along``
    command_first, time_first : (moves + 1,) first row of each move, and the end
    out : (k, n, len(DRIVEN_COLUMNS)) filled
    """
    for k in range(len(runs)):
        for move in range(len(time_first) - 1):
            low, high = time_first[move], time_first[move + 1]
            told = commands[command_first[move] : command_first[move + 1]]
            place(runs[k], body, time_s[low], begin[k, 0], begin[k, 1], 0.0)
            drive_along(runs[k], body, told, delays_s[k], off, time_s[low:high], out[k, low:high])
