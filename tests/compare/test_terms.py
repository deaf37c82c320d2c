"""The terms of a stop on paper: the hand example, its inverse, the form of ISO 13855, the lag by
integration.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from comparelifts import SWITCH, lift_of
from scipy.integrate import solve_ivp

from homing.compare.seen import loops_of
from homing.liftfile import Lift
from homing.mounting.terms import fastest_mm_s, lag_mm, needed_mm, slowing_mm, terms
from homing.setting import prepare
from homing.simulate import nominal_run
from homing.stopping import fastest_speed_m_per_s, stop_distance_m

ISO = Path(__file__).parents[1] / "published" / "stopping_iso13855.toml"


def bare(**changes: Any) -> Lift:
    """20 ms of loop, 5 ms of other delay, 5 m/s2, a stiff string and a drive without lag to speak of."""
    return lift_of(
        {**SWITCH, "bounce_ms": 0},
        {
            "controller": {
                "period_ms": 20, "jitter_ms": 0, "late_loop_probability": 0,
                "sensor_latency_ms": 2, "drive_latency_ms": 3,
            },
            "drive.deceleration_mm_s2": 5000,
            "drive.speed_loop_time_constant_ms": 1,
            "string.stiffness_n_per_mm": 1000.0,
            **{key.replace("__", "."): value for key, value in changes.items()},
        },
    )  # fmt: skip


def sizes(lift: Lift, speed_mm_s: float, spread_mm: float = 0.0) -> dict[str, float]:
    return {term.name: term.mm for term in terms(lift, speed_mm_s, spread_mm, loops_of(lift))}


def test_the_hand_example_needs_16_to_17_mm_before_margin() -> None:
    # 0.3 m/s x 25 ms + (0.3 m/s)^2 / (2 x 5 m/s2) = 7.5 + 9.0 = 16.5 mm
    found = sizes(bare(), 300.0)
    assert found["loop"] + found["bus"] + found["drive"] == pytest.approx(7.5)
    assert found["braking"] == pytest.approx(9.0, abs=0.01)
    assert 16.0 <= needed_mm(terms(bare(), 300.0, 0.0, loops_of(bare()))) <= 17.0
    assert sum(found.values()) == pytest.approx(1e3 * float(stop_distance_m(0.3, 0.025, 5.0)), abs=0.02)


@pytest.mark.parametrize("room_mm", [2.0, 16.5, 60.0])
def test_the_inverse_agrees_within_1_percent(room_mm: float) -> None:
    lift = bare()
    speed = fastest_mm_s(lift, room_mm, 0.0, loops_of(lift))
    assert sum(sizes(lift, speed).values()) == pytest.approx(room_mm, rel=1e-5)
    # and with the closed form of the quadratic, which knows no lag and no stretch
    assert speed == pytest.approx(1e3 * float(fastest_speed_m_per_s(room_mm / 1e3, 0.025, 5.0)), rel=0.01)


def test_no_room_allows_no_speed() -> None:
    assert math.isnan(fastest_mm_s(bare(), 1.0, 2.0, loops_of(bare())))


@pytest.mark.parametrize("value", tomllib.loads(ISO.read_text(encoding="utf-8"))["values"], ids=str)
def test_delays_and_the_rest_add_up_as_in_iso_13855(value: dict[str, Any]) -> None:
    # S = K T + C: the approach is a hand at K, T all delays, C what does not depend on them; no braking
    stop_time_s, c_mm = value["inputs"]["stop_time_s"], 8.0 * (value["inputs"]["resolution_mm"] - 14)
    delays_ms = 1e3 * stop_time_s
    controller = {
        "period_ms": 0.8 * delays_ms, "jitter_ms": 0, "late_loop_probability": 0, "late_loop_ms": delays_ms,
        "sensor_latency_ms": 0.1 * delays_ms, "drive_latency_ms": 0.1 * delays_ms,
    }  # fmt: skip
    lift = bare(controller=controller)

    def separation_mm(hand_mm_s: float) -> float:
        found = sizes(lift, hand_mm_s, c_mm)
        return sum(mm for name, mm in found.items() if name not in ("braking", "string"))

    near = separation_mm(2000.0)
    rule = max(near, 100.0) if near <= 500.0 else max(separation_mm(1600.0), 500.0)
    assert rule == pytest.approx(value["expected"], abs=1e-6)


@pytest.mark.parametrize(("speed", "tau_s"), [(60.0, 0.035), (180.0, 0.035), (400.0, 0.05), (900.0, 0.01)])
def test_the_lag_is_that_of_the_speed_loop_integrated(speed: float, tau_s: float) -> None:
    # spool speed u behind the ramp r: u = (2 tau s + 1) / (tau s + 1)^2 r, solved by a general integrator
    a = 4000.0
    ends_s = speed / a

    def ramp(t: float) -> float:
        return max(speed - a * t, 0.0)

    def rates(t: float, y: Any) -> tuple[float, float, float]:
        error = ramp(t) - y[0]
        return (2.0 * error / tau_s + y[1], error / tau_s**2, y[0])

    found = solve_ivp(
        rates, (0.0, ends_s + 12.0 * tau_s), (speed, 0.0, 0.0), rtol=1e-9, atol=1e-9, max_step=ends_s / 50
    )
    deepest = float(found.y[2].max())
    assert speed**2 / (2 * a) + lag_mm(speed, a, tau_s) == pytest.approx(deepest, abs=0.01)


@pytest.mark.parametrize("speed_mm_s", [100.0, 200.0])
def test_braking_and_delays_are_those_of_the_simulated_stop(speed_mm_s: float) -> None:
    lift = lift_of(
        SWITCH,
        {"routine.fast_speed_mm_s": speed_mm_s, "sensor": [{**SWITCH, "name": "bottom", "mount_mm": 40}]},
    )
    budget, found = nominal_run(prepare(lift)).budget_mm, sizes(lift, speed_mm_s)
    assert budget["braking"] == pytest.approx(found["braking"], rel=0.15)
    assert budget["reading_delay"] == pytest.approx(found["bus"], abs=0.01)
    assert budget["drive_delay"] == pytest.approx(found["drive"], abs=0.01)
    assert 0.0 <= budget["loop_wait"] <= found["loop"]


def test_windings_that_brake_have_no_closed_form() -> None:
    lift = lift_of(SWITCH, {"routine.stop": "shorted"})
    assert math.isnan(sizes(lift, 150.0)["braking"])
    assert math.isnan(fastest_mm_s(lift, 20.0, 0.0, loops_of(lift)))


def test_frequent_late_loops_become_a_term() -> None:
    rare = lift_of(SWITCH)
    often = lift_of(SWITCH, {"controller.late_loop_probability": 0.02})
    assert sizes(rare, 150.0)["late_loop"] == 0.0
    assert sizes(often, 150.0)["late_loop"] == pytest.approx(0.150 * (100 - 29), rel=0.01)


def test_slowing_down_takes_at_least_the_ramp() -> None:
    lift = lift_of(SWITCH)
    travel = slowing_mm(lift, 400.0, 30.0, loops_of(lift))
    assert travel > (400.0**2 - 30.0**2) / (2 * 4000.0)
    assert np.isfinite(travel)
