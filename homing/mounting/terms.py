"""What a stop needs on paper: the terms of the distance from the trip height to the hard stop.

At approach speed v, each term at its longest::

    sensor age      v x longest sample period            a sensor that samples shows its last output until
    then filter          v x longest bounce                   stopping itself waits for no agreeing readings
    loop            v x longest usual loop               the reading has just been missed
    late loop       v x (late_loop_ms - period_ms)       only where late loops are more often than may be
    missed bus             v x sensor_latency_ms
    drive           v x drive_latency_ms
    braking         v^2 / (2 a) + lag
    string          m a / k (+ backlash)                 what the string stretches under the deceleration
    repeatability   nominal trip height less the one that all but the allowed share of the tolerances keeps

*Lag* of the drive's speed loop, whose poles are both at -1/tau (``homing.lift``, eq. 6): behind a ramp of
slope a that lasts T = v / a, the spool runs on by a tau^2 [(1 + p) e^-p - (1 + q) e^-q] to its deepest point,
which it reaches p tau after the ramp's end, p = (T / tau) / (e^(T / tau) - 1) and q = p + T / tau.

They add up like the separation distance of ISO 13855, S = K T + C: speed times all delays, plus what does not
depend on them. The worst of every term at once is rarer than any requirement asks; so the ensemble, not this
sum, decides what is advised.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from homing.compare.results import Term
from homing.compare.seen import Loops
from homing.sensors import build_sensor
from homing.values import Spread
from homing.words import CommandKind, StopKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.sensortables import AnySensor

MM, MS = 1e-3, 1e-3
N_PER_MM = 1e3
#: Speeds to which the inverse is solved [mm/s].
SPEED_STEP = 1e-6


def has_closed_form(lift: Lift) -> bool:
    """True where the drive brakes along its ramp: only then is there a closed form for braking."""
    return lift.drive.command is CommandKind.SPEED and lift.routine.stop is StopKind.HOLD


def terms(lift: Lift, speed_mm_s: float, spread_mm: float, loops: Loops) -> tuple[Term, ...]:
    """The terms of a stop from this approach speed.

    Parameters
    ----------
    lift : Lift
    speed_mm_s : float
        Approach speed [mm/s].
    spread_mm : float
        Nominal trip height less the lowest to reckon with [mm].
    loops : Loops
        Lengths of the control loop.

    Returns
    -------
    tuple of Term
        Without ``margin``. ``braking`` is NaN without a closed form.
    """
    controller = lift.controller
    return (
        *_waiting(lift, speed_mm_s, loops),
        Term("bus", "v x sensor_latency_ms", speed_mm_s * controller.sensor_latency_ms * MS),
        Term("drive", "v x drive_latency_ms", speed_mm_s * controller.drive_latency_ms * MS),
        _braking(lift, speed_mm_s),
        _string(lift),
        Term("repeatability", "nominal trip height less the lowest that the tolerances allow", spread_mm),
    )


def needed_mm(found: tuple[Term, ...]) -> float:
    """Sum of the terms [mm]."""
    return math.fsum(term.mm for term in found)


def fastest_mm_s(lift: Lift, room_mm: float, spread_mm: float, loops: Loops) -> float:
    """Fastest approach whose terms fit into the room [mm/s]: the inverse; NaN: none, or no closed form.

    The terms rise with speed, so halving finds the one root.
    """

    def need(speed_mm_s: float) -> float:
        return needed_mm(terms(lift, speed_mm_s, spread_mm, loops))

    if not has_closed_form(lift) or not need(SPEED_STEP) < room_mm:
        return float("nan")
    low, high = 0.0, 1.0
    while need(high) < room_mm:
        low, high = high, 2.0 * high
    while high - low > SPEED_STEP * high:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if need(middle) < room_mm else (low, middle)
    return low


def slowing_mm(lift: Lift, from_mm_s: float, to_mm_s: float, loops: Loops) -> float:
    """Travel from where a slow zone begins until the lift is slow [mm]: delays, ramp and lag at their
    longest.
    """
    controller, drive = lift.controller, lift.drive
    delay_ms = (
        loops.longest_s(1.0 - lift.requirements.allowed_failure_rate) / MS + controller.drive_latency_ms
    )
    ramp = (from_mm_s**2 - to_mm_s**2) / (2.0 * drive.deceleration_mm_s2)
    # behind a ramp the lag grows at most to a tau^2; two more time constants settle it
    settle = drive.deceleration_mm_s2 * (drive.speed_loop_time_constant_ms * MS) ** 2
    return from_mm_s * delay_ms * MS + ramp + settle + 2.0 * to_mm_s * drive.speed_loop_time_constant_ms * MS


def _waiting(lift: Lift, speed_mm_s: float, loops: Loops) -> tuple[Term, ...]:
    """Until the program knows: sensor age, filter, loop, late loop."""
    c, table = lift.controller, lift.sensor()
    late_ms = c.late_loop_ms if c.late_loop_probability > 0.0 else c.period_ms
    allowed = lift.requirements.allowed_failure_rate
    usual_ms = loops.longest_s(1.0 - allowed) / MS
    counted = usual_ms > 0.5 * (c.period_ms + late_ms) and late_ms > c.period_ms
    loop_ms = c.period_ms + min(3.0 * c.jitter_ms, 0.5 * c.period_ms) if counted else usual_ms
    when = "late loops are rarer than may be missed" if not counted else "late loops come too often"
    return (
        Term("sensor_age", "v x longest sample period", speed_mm_s * _sample_ms(lift, table) * MS),
        Term("filter", "v x longest bounce_ms", speed_mm_s * _longest(table, "bounce_ms") * MS),
        Term("loop", "v x longest usual loop", speed_mm_s * loop_ms * MS),
        Term(
            "late_loop",
            f"v x (late_loop_ms - that), {when}",
            speed_mm_s * max(usual_ms - loop_ms, 0.0) * MS,
        ),
    )


def _sample_ms(lift: Lift, table: AnySensor) -> float:
    """Longest sample period: of the part's own pace or of the reading of it, over the data sheet's spread."""
    built = float(np.max(build_sensor(lift, table.name).sample_period_s)) / MS
    return max(built, _longest(table, "sample_period_ms"), _longest(table, "update_period_ms"))


def _longest(table: AnySensor, key: str) -> float:
    value = getattr(table, key, 0.0)
    return value.high if isinstance(value, Spread) else float(value)


def _braking(lift: Lift, speed_mm_s: float) -> Term:
    if not has_closed_form(lift):
        return Term("braking", "no closed form: windings brake, not a ramp", float("nan"))
    a, tau_s = lift.drive.deceleration_mm_s2, lift.drive.speed_loop_time_constant_ms * MS
    return Term(
        "braking",
        "v^2 / (2 a) + lag of the speed loop",
        speed_mm_s**2 / (2.0 * a) + lag_mm(speed_mm_s, a, tau_s),
    )


def lag_mm(speed_mm_s: float, deceleration_mm_s2: float, tau_s: float) -> float:
    """How much deeper than its ramp the spool runs [mm]: the formula above."""
    ratio = speed_mm_s / deceleration_mm_s2 / tau_s
    if ratio > 700.0:  # exp would overflow; the ramp is then far longer than the lag
        return deceleration_mm_s2 * tau_s**2
    if ratio == 0.0:
        return 0.0
    p = ratio / math.expm1(ratio)
    q = p + ratio
    return deceleration_mm_s2 * tau_s**2 * ((1.0 + p) * math.exp(-p) - (1.0 + q) * math.exp(-q))


def _string(lift: Lift) -> Term:
    pulled_mm = lift.lift.moving_mass_kg * lift.drive.deceleration_mm_s2 * MM
    if lift.string is not None:
        return Term("string", "m a / stiffness_n_per_mm", pulled_mm / lift.string.stiffness_n_per_mm)
    stiffness, backlash = lift.drive.stiffness_n_per_mm, lift.drive.backlash_mm
    assert stiffness is not None
    return Term("string", "backlash_mm + m a / stiffness_n_per_mm", (backlash or 0.0) + pulled_mm / stiffness)
