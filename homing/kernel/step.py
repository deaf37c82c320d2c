"""Adaptive plant steps between two instants, with sticking and with touches landed on exactly.

Embedded Bogacki-Shampine 3(2) pair with its last stage reused; a step ends at every reversal of
spool or carriage, at every touch of a stop and at every breakaway, so that within a step the
right-hand side is smooth and extremes lie at step ends.

References
----------
.. [1] P. Bogacki, L. F. Shampine, "A 3(2) pair of Runge-Kutta formulas", Applied Mathematics
   Letters 2(4), 1989, 321-325.
"""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled, inlined
from homing.kernel.codes import Mode
from homing.kernel.plant import (
    carriage_push,
    forces,
    geared,
    load_on_spool,
    rates,
    slide_friction,
    spool_push,
)

#: Error that a step may make in a position [m] (``error_share`` scales it for tests of convergence).
TOLERANCE_M = 1.0e-7
#: Time by which an error in speed is weighed against one in position [s].
SPEED_WEIGHT_S = 0.01
#: Time over which an error in the speed loop's integral acts before the loop takes it back [s].
INTEGRAL_WEIGHT_S = 0.1
#: A touch, a reversal and a breakaway are met when closer than this.
TOUCH_M, REVERSAL_M_S, BREAKAWAY_N = 1.0e-9, 1.0e-6, 0.01
#: Impact speeds below this are taken as this, so that a carriage at rest on the stop stays smooth [m/s].
TOUCH_FLOOR_M_S = 0.001
#: Shortest step; an event that is still ahead is then taken as met [s].
SHORTEST_S = 1.0e-9
LONGEST_S = 0.05


@inlined
def trial(run: Any, body: Any, h: float) -> float:
    """Compute the end of a step of ``h`` into the ``new_*`` fields; returns error over tolerance."""
    t, s, u, x, v, z = (
        body.time_s, body.spool_m, body.spool_m_s, body.carriage_m, body.carriage_m_s, body.integral_a,
    )  # fmt: skip
    if body.rates_known == 0:
        body.rate_spool, body.rate_carriage, body.rate_integral, body.current_a = rates(
            run, body, t, s, u, x, v, z
        )
        body.rates_known = 1
    a1, b1, c1 = body.rate_spool, body.rate_carriage, body.rate_integral
    k = 0.5 * h
    u2, v2 = u + k * a1, v + k * b1
    a2, b2, c2, _ = rates(run, body, t + k, s + k * u, u2, x + k * v, v2, z + k * c1)
    k = 0.75 * h
    u3, v3 = u + k * a2, v + k * b2
    a3, b3, c3, _ = rates(run, body, t + k, s + k * u2, u3, x + k * v2, v3, z + k * c2)
    p, q, r = h * 2.0 / 9.0, h / 3.0, h * 4.0 / 9.0
    s4, x4 = s + p * u + q * u2 + r * u3, x + p * v + q * v2 + r * v3
    u4, v4, z4 = u + p * a1 + q * a2 + r * a3, v + p * b1 + q * b2 + r * b3, z + p * c1 + q * c2 + r * c3
    a4, b4, c4, body.new_current_a = rates(run, body, t + h, s4, u4, x4, v4, z4)
    body.new_spool_m, body.new_spool_m_s, body.new_carriage_m, body.new_carriage_m_s = s4, u4, x4, v4
    body.new_integral_a = z4
    body.new_rate_spool, body.new_rate_carriage, body.new_rate_integral = a4, b4, c4
    e1, e2, e3, e4 = -5.0 / 72.0 * h, h / 12.0, h / 9.0, -h / 8.0
    spool = abs(e1 * u + e2 * u2 + e3 * u3 + e4 * u4)
    carriage = abs(e1 * v + e2 * v2 + e3 * v3 + e4 * v4)
    spool_speed = SPEED_WEIGHT_S * abs(e1 * a1 + e2 * a2 + e3 * a3 + e4 * a4)
    carriage_speed = SPEED_WEIGHT_S * abs(e1 * b1 + e2 * b2 + e3 * b3 + e4 * b4)
    pull = INTEGRAL_WEIGHT_S**2 * run.force_n_per_a / run.spool_mass_kg
    integral = pull * abs(e1 * c1 + e2 * c2 + e3 * c3 + e4 * c4)
    worst = max(max(spool, carriage), max(spool_speed, carriage_speed), integral)
    return float(worst / (TOLERANCE_M * body.error_share))


@compiled
def reversal(way: float, before_m_s: float, after_m_s: float) -> float:
    """Fraction of the step at which a sliding body comes to rest; 2 if it does not."""
    if way == 0.0 or after_m_s * way >= -REVERSAL_M_S:
        return 2.0
    ahead = before_m_s * way
    if ahead <= REVERSAL_M_S:
        return 0.5
    return float(ahead / (ahead - after_m_s * way))


@compiled
def excess(run: Any, body: Any, t: float, at_end: bool) -> tuple[float, float]:
    """Force by which a stuck spool and a stuck carriage exceed what holds them [N]; < 0: held."""
    if at_end:
        carriage_n, motor_n, string_n, _, _ = forces(
            run, body, t, body.new_spool_m, body.new_spool_m_s, body.new_carriage_m, body.new_carriage_m_s,
            body.new_integral_a,
        )  # fmt: skip
        x = body.new_carriage_m
    else:
        carriage_n, motor_n, string_n, _, _ = forces(
            run, body, t, body.spool_m, body.spool_m_s, body.carriage_m, body.carriage_m_s, body.integral_a
        )
        x = body.carriage_m
    outwards = geared(run, motor_n, 1.0) + load_on_spool(run, string_n, 1.0)
    inwards = geared(run, motor_n, -1.0) + load_on_spool(run, string_n, -1.0)
    grip = slide_friction(run, body, run.static_friction_n, x)
    return max(outwards, -inwards), abs(carriage_n) - grip


@compiled
def part_until(before: float, after: float) -> float:
    """Fraction of a step at which a force that grows past what holds breaks loose; 2 if it stays below."""
    if after <= BREAKAWAY_N:
        return 2.0
    if before >= BREAKAWAY_N:
        return 0.0
    return (0.5 * BREAKAWAY_N - before) / (after - before)


@inlined
def event(run: Any, body: Any, h: float) -> float:
    """Fraction of the step at which the first event lies; 2 if there is none."""
    first = min(
        reversal(body.spool_way, body.spool_m_s, body.new_spool_m_s),
        reversal(body.carriage_way, body.carriage_m_s, body.new_carriage_m_s),
    )
    x, new_x, top = body.carriage_m, body.new_carriage_m, run.travel_m
    if x > TOUCH_M and new_x < -TOUCH_M:
        first = min(first, x / (x - new_x))
    if x < top - TOUCH_M and new_x > top + TOUCH_M:
        first = min(first, (top - x) / (new_x - x))
    if body.spool_way == 0.0 or body.carriage_way == 0.0:
        spool_0, carriage_0 = excess(run, body, body.time_s, False)
        spool_1, carriage_1 = excess(run, body, body.time_s + h, True)
        if body.spool_way == 0.0:
            first = min(first, part_until(spool_0, spool_1))
        if body.carriage_way == 0.0:
            first = min(first, part_until(carriage_0, carriage_1))
    return first


@compiled
def sign(value: float) -> float:
    return 1.0 if value > 0.0 else (-1.0 if value < 0.0 else 0.0)


@compiled
def grip_or_slide(run: Any, body: Any) -> None:
    """After a step: bodies that came to rest stick or turn, stuck ones may break away, eq. (9)."""
    spool_rests = body.spool_m_s * body.spool_way <= 0.0
    carriage_rests = body.carriage_m_s * body.carriage_way <= 0.0
    if not (spool_rests or carriage_rests):
        return
    if spool_rests:
        body.spool_m_s = 0.0
    if carriage_rests:
        body.carriage_m_s = 0.0
    carriage_n, motor_n, string_n, _, _ = forces(
        run,
        body,
        body.time_s,
        body.spool_m,
        body.spool_m_s,
        body.carriage_m,
        body.carriage_m_s,
        body.integral_a,
    )
    spool_way, carriage_way = body.spool_way, body.carriage_way
    if spool_rests:
        body.spool_way = sign(spool_push(run, motor_n, string_n))
    if carriage_rests:
        body.carriage_way = sign(carriage_push(run, body, carriage_n, body.carriage_m))
    if spool_way != body.spool_way or carriage_way != body.carriage_way:
        body.rates_known = 0


@inlined
def accept(run: Any, body: Any, h: float) -> None:
    """Take the trial end as the new state."""
    body.time_s += h
    body.spool_m, body.spool_m_s = body.new_spool_m, body.new_spool_m_s
    body.carriage_m, body.carriage_m_s = body.new_carriage_m, body.new_carriage_m_s
    body.integral_a = body.new_integral_a
    body.rate_spool, body.rate_carriage = body.new_rate_spool, body.new_rate_carriage
    body.rate_integral, body.current_a = body.new_rate_integral, body.new_current_a
    if body.carriage_m >= -TOUCH_M:
        body.touch_low_m_s = max(-body.carriage_m_s, TOUCH_FLOOR_M_S)
        body.rates_known = body.rates_known if body.carriage_m > TOUCH_M else 0
    if body.carriage_m <= run.travel_m + TOUCH_M:
        body.touch_high_m_s = max(body.carriage_m_s, TOUCH_FLOOR_M_S)
        body.rates_known = body.rates_known if body.carriage_m < run.travel_m - TOUCH_M else 0
    grip_or_slide(run, body)


@compiled
def rests(body: Any) -> bool:
    """Both bodies are stuck and nothing that acts on them changes with time."""
    if body.spool_way != 0.0 or body.carriage_way != 0.0:
        return False
    return bool(body.mode != Mode.SPEED or (body.target_m_s == 0.0 and body.time_s >= body.ramp_end_s))


@inlined
def one_step(run: Any, body: Any, end_s: float) -> float:
    """Make one accepted step, at most to ``end_s``; returns its length.

    The state at its start is left in the ``old_*`` fields for interpolation.
    """
    body.old_spool_m, body.old_spool_m_s = body.spool_m, body.spool_m_s
    body.old_carriage_m, body.old_carriage_m_s = body.carriage_m, body.carriage_m_s
    if rests(body):
        h = end_s - body.time_s
        body.time_s = end_s
        return float(h)
    h = min(body.step_s, end_s - body.time_s)
    for _ in range(60):
        error = trial(run, body, h)
        if error > 1.0 and h > SHORTEST_S:
            body.step_s = h * max(0.2, 0.9 / math.sqrt(math.sqrt(error)))
            h = body.step_s
            continue
        fraction = event(run, body, h)
        if fraction < 1.0 and h > SHORTEST_S:
            h *= max(fraction, 0.02)
            continue
        break
    if h >= body.step_s:
        growth = 5.0 if error < 1.0e-3 else min(5.0, 0.9 / math.sqrt(math.sqrt(error)))
        body.step_s = min(LONGEST_S, h * max(growth, 1.0))
    reaches_end = h >= end_s - body.time_s - SHORTEST_S
    accept(run, body, h)
    if reaches_end:
        body.time_s = end_s
    return float(h)


@compiled
def between(
    before: float, slope_before: float, after: float, slope_after: float, h: float, part: float
) -> float:
    """Cubic Hermite interpolation within a step of length ``h`` at a fraction ``part`` of it."""
    rest = 1.0 - part
    return (
        before * (1.0 + 2.0 * part) * rest * rest
        + after * (3.0 - 2.0 * part) * part * part
        + h * part * rest * (slope_before * rest - slope_after * part)
    )


@compiled
def spool_between(body: Any, h: float, part: float) -> float:
    """Spool height at a fraction of the last step [m]."""
    return between(body.old_spool_m, body.old_spool_m_s, body.spool_m, body.spool_m_s, h, part)


@compiled
def carriage_between(body: Any, h: float, part: float) -> float:
    """Carriage height at a fraction of the last step [m]."""
    return between(body.old_carriage_m, body.old_carriage_m_s, body.carriage_m, body.carriage_m_s, h, part)
