"""Forces and rates of spool and carriage; the equations of ``homing.lift``, cited by number.

Everything is referred to the carriage: the spool is a mass on the same axis, joined to the
carriage by the string (or belt, or screw).
"""

from __future__ import annotations

import math
from typing import Any

from homing.kernel.build import compiled, inlined
from homing.kernel.codes import Coupling, Mode

#: Damping of string and belt fades in over this stretch, so that the force is continuous when the
#: string snaps taut (a jump there costs accuracy and is not what a real string does) [m].
FADE_M = 2.0e-4


@compiled
def line_height(run: Any, body: Any, spool_m: float) -> tuple[float, float]:
    """Height that the pull-up string implies and the sign of its change with the spool, eq. (3)."""
    height = spool_m - body.line_offset_m
    if run.coupling == Coupling.STRING and height < -run.spare_m:
        return -2.0 * run.spare_m - height, -1.0
    return height, 1.0


@compiled
def tension(stiffness: float, damping: float, stretch: float, rate: float) -> float:
    """Tension-only spring with damping that fades in, eq. (4)."""
    if stretch <= 0.0:
        return 0.0
    fade = stretch / FADE_M if stretch < FADE_M else 1.0
    force = stiffness * stretch + damping * fade * rate
    return force if force > 0.0 else 0.0


@compiled
def pull_up(
    run: Any, body: Any, spool_m: float, spool_m_s: float, x_m: float, v_m_s: float
) -> tuple[float, float]:
    """Force of the pull-up string on the carriage (outwards) and the sign with which the spool feels it."""
    height, sign = line_height(run, body, spool_m)
    rate = sign * spool_m_s - v_m_s
    return body.string_on * tension(run.pull_n_per_m, run.pull_n_s_per_m, height - x_m, rate), sign


@compiled
def pull_back(run: Any, body: Any, spool_m: float, spool_m_s: float, x_m: float, v_m_s: float) -> float:
    """Force that pulls the carriage inwards: return string, or the other side of belt and screw, eq. (5)."""
    rate = v_m_s - spool_m_s
    if run.coupling != Coupling.STRING:
        stretch = x_m - (spool_m - body.line_offset_m) - run.backlash_m
        return tension(run.pull_n_per_m, run.pull_n_s_per_m, stretch, rate)
    if run.return_n_per_m <= 0.0:
        return 0.0
    stretch = x_m - spool_m - run.return_slack_m
    force = run.return_preload_n + run.return_n_per_m * stretch
    if stretch > run.take_up_m:
        force += tension(run.pull_n_per_m, run.pull_n_s_per_m, stretch - run.take_up_m, rate)
    return force if force > 0.0 else 0.0


@compiled
def stop_push(run: Any, depth_m: float, rate_m_s: float, touch_m_s: float) -> float:
    """One-sided stop with dissipation, eq. (8); ``touch_m_s`` is the speed at touch."""
    if depth_m <= 0.0:
        return 0.0
    # deeper than any free impact at this speed it is being pressed: there the loss need not grow further,
    # and a carriage pressed onto its stop stays smooth to integrate
    lossy_m = min(depth_m, run.stop_lossy_s * touch_m_s)
    force = run.stop_n_per_m * (depth_m + run.stop_loss * lossy_m * rate_m_s / touch_m_s)
    return force if force > 0.0 else 0.0


@compiled
def target_speed(run: Any, body: Any, t: float) -> float:
    """Speed that the drive's ramp asks for at time ``t``."""
    difference = body.target_m_s - body.ramp_from_m_s
    if t >= body.ramp_end_s:
        return float(body.target_m_s)
    return float(
        body.ramp_from_m_s + difference * (t - body.ramp_from_s) / (body.ramp_end_s - body.ramp_from_s)
    )


@compiled
def current_at_duty(run: Any, body: Any, duty: float, back_emf_v: float) -> float:
    """Current of one motor at a fraction of the sagging battery voltage, eq. (2)."""
    supply = run.open_circuit_v - body.supply_loss_v - run.battery_ohm * run.other_load_a
    load = run.battery_ohm * run.motors * duty / run.resistance_ohm
    bus_v = (supply + load * back_emf_v) / (1.0 + load * duty)
    return float((duty * bus_v - back_emf_v) / run.resistance_ohm)


@compiled
def limited(rate: float, way: float) -> float:
    """The integral stops where it would only drive the current further into its limit."""
    return 0.0 if rate * way > 0.0 else rate


@inlined
def motor_current(run: Any, body: Any, t: float, spool_m_s: float, integral_a: float) -> tuple[float, float]:
    """Current of one motor [A] and the rate of the speed loop's integral [A/s], eq. (1), (2), (6).

    With the leads swapped (``command_sign`` -1) the drive does the opposite of what it wants; shorted
    windings brake all the same.
    """
    back_emf_v = run.back_emf_v_s * run.ratio_rad_per_m * spool_m_s
    if body.mode == Mode.SHORTED:
        return -back_emf_v / run.resistance_ohm, 0.0
    if body.mode == Mode.OPEN:
        return 0.0, 0.0
    if body.mode == Mode.DUTY:
        return current_at_duty(run, body, body.command_sign * body.duty, back_emf_v), 0.0
    error = target_speed(run, body, t) - spool_m_s
    wanted = body.command_sign * (run.loop_a_s_per_m * error + integral_a)
    rate = run.loop_a_per_m * error
    if wanted > 0.0:
        highest = min(run.current_limit_a, current_at_duty(run, body, 1.0, back_emf_v))
        if wanted > highest:
            return highest, limited(rate, body.command_sign)
    else:
        lowest = max(-run.current_limit_a, current_at_duty(run, body, -1.0, back_emf_v))
        if wanted < lowest:
            return lowest, limited(rate, -body.command_sign)
    return wanted, rate


@compiled
def battery(run: Any, body: Any, current_a: float, spool_m_s: float) -> tuple[float, float]:
    """Battery current and voltage at its terminals for a current of one motor, eq. (2)."""
    supply = run.open_circuit_v - body.supply_loss_v
    if body.mode == Mode.SHORTED or body.mode == Mode.OPEN:
        return run.other_load_a, supply - run.battery_ohm * run.other_load_a
    motor_v = current_a * run.resistance_ohm + run.back_emf_v_s * run.ratio_rad_per_m * spool_m_s
    at_rest = supply - run.battery_ohm * run.other_load_a
    inner = at_rest * at_rest - 4.0 * run.battery_ohm * run.motors * current_a * motor_v
    bus_v = 0.5 * (at_rest + math.sqrt(inner if inner > 0.0 else 0.0))
    return run.other_load_a + run.motors * current_a * motor_v / bus_v, bus_v


@compiled
def geared(run: Any, force_n: float, way: float) -> float:
    """Motor force behind motor friction and gear losses while the spool slides ``way``, eq. (7)."""
    left = force_n - way * run.motor_friction_n
    return float(left * run.efficiency if left * way > 0.0 else left / run.efficiency)


@compiled
def load_on_spool(run: Any, load_n: float, way: float) -> float:
    """What the spool feels of the string's force; a screw carries a load that would drive it."""
    if run.coupling == Coupling.LEAD_SCREW and load_n * way > 0.0:
        return 0.0
    return load_n


@compiled
def slide_friction(run: Any, body: Any, friction_n: float, x_m: float) -> float:
    """Coulomb friction at the carriage, more in a sticky zone."""
    if abs(x_m - run.fault_height_m) < run.fault_span_m:
        return float(friction_n + body.extra_friction_n)
    return friction_n


@inlined
def forces(
    run: Any,
    body: Any,
    t: float,
    spool_m: float,
    spool_m_s: float,
    x_m: float,
    v_m_s: float,
    integral_a: float,
) -> tuple[float, float, float, float, float]:
    """Free forces: on the carriage, motor force, string on the spool [N]; rate of the integral [A/s]; current
    of one motor [A]."""
    up, sign = pull_up(run, body, spool_m, spool_m_s, x_m, v_m_s)
    back = pull_back(run, body, spool_m, spool_m_s, x_m, v_m_s)
    current, rate = motor_current(run, body, t, spool_m_s, integral_a)
    low = stop_push(run, -x_m, -v_m_s, body.touch_low_m_s)
    high = stop_push(run, x_m - run.travel_m, v_m_s, body.touch_high_m_s)
    on_carriage = up - back - run.gravity_n - run.viscous_n_s_per_m * v_m_s + low - high
    share = body.shorted_share if body.mode == Mode.SHORTED else body.force_share
    motor_n = share * run.force_n_per_a * current
    return on_carriage, motor_n, back - sign * up, rate, current


@inlined
def rates(
    run: Any,
    body: Any,
    t: float,
    spool_m: float,
    spool_m_s: float,
    x_m: float,
    v_m_s: float,
    integral_a: float,
) -> tuple[float, float, float, float]:
    """Accelerations of spool and carriage as they slide now, rate of the integral, current of one motor."""
    carriage_n, motor_n, string_n, rate, current = forces(
        run, body, t, spool_m, spool_m_s, x_m, v_m_s, integral_a
    )
    carriage = 0.0
    if body.carriage_way != 0.0:
        rub = slide_friction(run, body, run.friction_n, x_m)
        carriage = (carriage_n - body.carriage_way * rub) / run.mass_kg
    spool = 0.0
    if body.spool_way != 0.0:
        load = load_on_spool(run, string_n, body.spool_way)
        spool = (geared(run, motor_n, body.spool_way) + load) / run.spool_mass_kg
    return spool, carriage, rate, current


@compiled
def spool_push(run: Any, motor_n: float, string_n: float) -> float:
    """Force that would set a standing spool in motion: > 0 outwards, < 0 inwards, 0 held."""
    outwards = geared(run, motor_n, 1.0) + load_on_spool(run, string_n, 1.0)
    if outwards > 0.0:
        return outwards
    inwards = geared(run, motor_n, -1.0) + load_on_spool(run, string_n, -1.0)
    return inwards if inwards < 0.0 else 0.0


@compiled
def carriage_push(run: Any, body: Any, carriage_n: float, x_m: float) -> float:
    """Force that would set a standing carriage in motion beyond its static friction, 0 if held."""
    grip = slide_friction(run, body, run.static_friction_n, x_m)
    if carriage_n > grip:
        return carriage_n - grip
    if carriage_n < -grip:
        return carriage_n + grip
    return 0.0
