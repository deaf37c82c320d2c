"""Every published number on statistics, impact, stopping and motors, read from one data file a source.

Each value names the quantity below which is held against it; for the files see ``published_values``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from published_values import cases, check_origin, files
from scipy.integrate import solve_ivp

from homing.impact import damping_number, delivered_restitution
from homing.motor import Motor
from homing.statistics import interval, runs_needed, scatter, tolerance_factor, upper_bound
from homing.stopping import fastest_speed_m_per_s, stop_distance_m

GROUPS = ("statistics", "impact", "stopping", "motors")
STANDARD_GRAVITY = 9.80665  # m/s2
TIGHT = {"method": "DOP853", "rtol": 1e-12, "atol": 1e-15}


# --- statistics ---------------------------------------------------------------------------------------


def tolerance_interval(mean: float, sd: float, **factor: Any) -> tuple[float, float]:
    k = tolerance_factor(**factor)
    return mean - k * sd, mean + k * sd


def sample_sd_repeated(first: float, pair: list[float], times: int) -> float:
    return scatter([first, *pair * times])


def wilson(failures: int, runs: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """Wilson's score interval: kept here for comparison only."""
    share = failures / runs
    middle = (share + z**2 / (2 * runs)) / (1 + z**2 / runs)
    half = z / (1 + z**2 / runs) * math.sqrt(share * (1 - share) / runs + z**2 / (4 * runs**2))
    return max(0.0, middle - half), min(1.0, middle + half)


# --- impact -------------------------------------------------------------------------------------------

LAWS: dict[str, Callable[[float], float]] = {
    "Hunt-Crossley 1975": lambda e: 1.5 * (1 - e),
    "Lankarani-Nikravesh 1990": lambda e: 0.75 * (1 - e**2),
    "Lee-Wang 1983": lambda e: 0.75 * (1 - e),
    "Herbert-McWhannell 1977": lambda e: 6 * (1 - e) / ((2 * e - 1) ** 2 + 3),
    "Flores 2011": lambda e: 8 * (1 - e) / (5 * e),
    "Hu-Guo 2015": lambda e: 3 * (1 - e) / (2 * e),
    "Gonthier 2004": lambda e: (1 - e**2) / e,
}


def contact(
    force: Callable[[float, float], float], mass: float, speed: float, stiffness: float, g: float = 0.0
) -> Any:
    """One contact by a general ODE solver: states penetration and its rate; ends where the force ends."""
    unit_s = math.sqrt(mass / stiffness)

    def leaves(_t: float, y: Any) -> float:
        return force(y[0], y[1]) if y[1] < 0.0 else 1.0

    leaves.terminal = True  # type: ignore[attr-defined]

    def turns(_t: float, y: Any) -> float:
        return float(y[1])

    return solve_ivp(
        lambda _t, y: (y[1], g - force(y[0], y[1]) / mass),
        (0.0, 50.0 * unit_s),
        (0.0, speed),
        events=(leaves, turns),
        max_step=0.1 * unit_s,
        **TIGHT,
    )


def stop_force(stiffness: float, damping: float, speed: float) -> Callable[[float, float], float]:
    return lambda d, rate: stiffness * d * (1.0 + damping * rate / speed)


def linear_damper_restitution(damping_ratio: float) -> float:
    # the force jumps to its damping part at first touch, so the solver starts inside it
    solved = contact(lambda d, rate: d + 2 * damping_ratio * rate, 1.0, 1.0, 1.0)
    return -float(solved.y[1, -1])


def spring_stop_mm(mass_kg: float, stiffness: float, speed: float, g: float) -> float:
    solved = contact(stop_force(stiffness, 0.0, speed), mass_kg, speed, stiffness, g)
    return 1000 * float(solved.y_events[1][0][0])


def ball(height: float, restitution: float, bounces: int) -> list[tuple[float, float]]:
    """(time of the touch, speed after it) of a 1 kg ball on a stop of 50 GN/m with our contact law."""
    stiffness = 5e10
    touches, clock = [], math.sqrt(2 * height / STANDARD_GRAVITY)
    speed = clock * STANDARD_GRAVITY
    for _ in range(bounces):
        force = stop_force(stiffness, float(damping_number(restitution)), speed)
        solved = contact(force, 1.0, speed, stiffness, STANDARD_GRAVITY)
        speed = -float(solved.y[1, -1])
        clock += float(solved.t[-1])
        touches.append((clock, speed))
        clock += 2 * speed / STANDARD_GRAVITY
    return touches


def ball_height_m(height: float, restitution: float, bounce: int) -> float:
    return ball(height, restitution, bounce)[-1][1] ** 2 / (2 * STANDARD_GRAVITY)


def ball_time_s(height: float, restitution: float, bounces: int) -> float:
    clock, speed = ball(height, restitution, bounces)[-1]
    return clock + 2 * speed / STANDARD_GRAVITY / (1 - restitution)


def ball_path_m(height: float, restitution: float, bounces: int) -> float:
    heights = [speed**2 / (2 * STANDARD_GRAVITY) for _, speed in ball(height, restitution, bounces)]
    return height + 2 * sum(heights) + 2 * heights[-1] * restitution**2 / (1 - restitution**2)


# --- stopping -----------------------------------------------------------------------------------------


def separation_mm(stop_time_s: float, resolution_mm: float) -> float:
    """The rule of ISO 13855 for light curtains; K T is our stop distance with the braking left out."""
    extra = 8.0 * (resolution_mm - 14.0)
    fast = 1000 * float(stop_distance_m(2.0, stop_time_s, math.inf)) + extra
    if fast <= 500.0:
        return max(fast, 100.0)
    return max(1000 * float(stop_distance_m(1.6, stop_time_s, math.inf)) + extra, 500.0)


def gravity_stop_m(rated_speed: float) -> float:
    return float(stop_distance_m(1.15 * rated_speed, 0.0, 9.81))


def stop_category(stop: str) -> int:
    """0 if the stop takes the power away at once, 2 if it keeps it; no stop of ours is a 1."""
    from homing.words import StopKind

    return 2 if StopKind[stop] is StopKind.HOLD else 0


# --- motors -------------------------------------------------------------------------------------------

RPM = math.pi / 30.0  # rad/s
KG_MM = STANDARD_GRAVITY / 1000.0  # N m


def catalogue_motor(n0_rpm: float, stall_nm: float, stall_a: float, free_a: float, volt: float) -> Motor:
    return Motor(
        free_speed_rad_per_s=n0_rpm * RPM,
        stall_torque_nm=stall_nm,
        stall_current_a=stall_a,
        free_current_a=free_a,
        nominal_v=volt,
    )


def peak_power_w(free_rpm: float, stall_nm: float = 0.0, stall_kg_mm: float = 0.0) -> float:
    return float(catalogue_motor(free_rpm, stall_nm + stall_kg_mm * KG_MM, 1.0, 0.1, 1.0).peak_power_w)


def mechanical_ms(rotor_g_cm2: float, **sheet: float) -> float:
    return 1000 * float(catalogue_motor(**sheet).mechanical_time_s(rotor_g_cm2 * 1e-7))


QUANTITIES: dict[str, Callable[..., Any]] = {
    "tolerance_factor": tolerance_factor,
    "tolerance_interval": tolerance_interval,
    "binomial_interval": interval,
    "binomial_upper": upper_bound,
    "wilson_interval": wilson,
    "runs_needed": runs_needed,
    "sample_sd": scatter,
    "sample_sd_repeated": sample_sd_repeated,
    "damping_number": damping_number,
    "delivered_restitution": lambda law, wanted: delivered_restitution(LAWS[law](wanted)),
    "linear_damper_restitution": linear_damper_restitution,
    "spring_stop_mm": spring_stop_mm,
    "ball_height_m": ball_height_m,
    "ball_time_s": ball_time_s,
    "ball_path_m": ball_path_m,
    "stop_distance_m": lambda v, t, a: stop_distance_m(v, t, a),
    "fastest_speed_m_per_s": lambda room, t, a: fastest_speed_m_per_s(room, t, a),
    "separation_mm": separation_mm,
    "gravity_stop_m": gravity_stop_m,
    "half_gravity_stop_m": lambda rated_speed: gravity_stop_m(rated_speed) / 2,
    "stop_category": stop_category,
    "peak_power_w": peak_power_w,
    "motor_resistance_ohm": lambda **sheet: catalogue_motor(**sheet).resistance_ohm,
    "motor_torque_nm_per_a": lambda **sheet: catalogue_motor(**sheet).torque_nm_per_a,
    "motor_rpm_per_volt": lambda **sheet: 1 / catalogue_motor(**sheet).emf_v_s_per_rad / RPM,
    "motor_rpm_per_mnm": lambda **sheet: catalogue_motor(**sheet).speed_per_torque / RPM / 1000,
    "motor_mechanical_ms": mechanical_ms,
}


@pytest.mark.parametrize(("value", "tolerances"), cases(*GROUPS))
def test_our_number_meets_the_published_one(value: dict[str, Any], tolerances: dict[str, float]) -> None:
    ours = QUANTITIES[value["quantity"]](**value["inputs"])
    np.testing.assert_allclose(
        ours,
        value["expected"],
        rtol=tolerances.get("relative_tolerance", 0.0),
        atol=tolerances.get("tolerance", 0.0),
    )


@pytest.mark.parametrize("path", files(*GROUPS), ids=lambda path: path.stem)
def test_every_file_says_where_its_numbers_come_from(path: Path) -> None:
    check_origin(path)


def test_exact_limits_hold_where_wilson_promises_too_much() -> None:
    # 1 - 0.05/2 each side: at a true rate just above Wilson's upper limit for 0 of 30, 0 of 30 is still
    # seen more often than 2.5 % of the time
    _, wilson_high = wilson(0, 30)
    _, exact_high = interval(0, 30)
    assert (1 - wilson_high) ** 30 > 0.025
    assert (1 - exact_high) ** 30 == pytest.approx(0.025)
