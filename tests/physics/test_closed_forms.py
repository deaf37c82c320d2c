"""The kernel's plant against mechanics with a closed form; source: textbook mechanics, and our equations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bare import Bare

from homing.kernel.codes import Coupling, Mode, Order

G = 9.80665


# --- the hard stop ------------------------------------------------------------------------------------


@pytest.mark.parametrize("wanted", [0.05, 0.2, 0.35, 0.6, 0.9, 1.0])
@pytest.mark.parametrize("speed", [0.03, 0.3, 2.0])
def test_isolated_bounce_has_exactly_the_restitution_asked_for(wanted: float, speed: float) -> None:
    lift = Bare(restitution=wanted, error_share=1e-3)
    lift.throw(0.001, -speed)
    path = lift.advance(0.001 / speed + 0.06)
    assert path.v[-1] == pytest.approx(wanted * speed, abs=2e-6)


def test_upper_stop_bounces_alike() -> None:
    lift = Bare(restitution=0.4, error_share=1e-3, travel_m=0.5)
    lift.throw(0.49, 0.3)
    assert lift.advance(0.15).v[-1] == pytest.approx(-0.4 * 0.3, abs=2e-6)


@pytest.mark.parametrize("gravity", [0.0, G])
def test_spring_stop_is_pressed_as_deep_as_energy_says(gravity: float) -> None:
    # 1 kg, 5000 N/m, 0.5 m/s: 9.299369 mm with gravity, 7.071068 mm without (tests/published)
    lift = Bare(stop_n_per_m=5000.0, gravity_n=gravity)
    lift.throw(0.0, -0.5)
    depth = -lift.advance(0.1).x.min()
    sag = gravity / 5000.0
    assert depth == pytest.approx(sag + math.sqrt(sag**2 + 0.25 / 5000.0), abs=1e-6)


def test_bouncing_ball_loses_height_and_time_as_the_ideal_one() -> None:
    # h0 = 50 mm, e = 0.8: first bounce below 0.1 mm is the 14th; total time 0.908829 s (tests/published).
    # Even a stop of 1e10 N/m is not quite ideal: the ball's weight presses on while it is in touch.
    lift = Bare(restitution=0.8, stop_n_per_m=1e10, gravity_n=G, error_share=1e-5)
    lift.throw(0.05, 0.0)
    path = lift.advance(0.75)
    tops = np.flatnonzero((path.v[:-1] > 0) & (path.v[1:] <= 0))
    heights = path.x[tops + 1]
    np.testing.assert_allclose(heights[:5], 0.05 * 0.64 ** np.arange(1, 6), rtol=2e-3)
    fall = math.sqrt(2 * 0.05 / G)
    times = fall * (1 + 2 * np.cumsum(0.8 ** np.arange(1, 6)) - 0.8 ** np.arange(1, 6))
    np.testing.assert_allclose(path.t[tops[:5] + 1], times, rtol=1e-3)


# --- energy -------------------------------------------------------------------------------------------


def energy(lift: Bare, path: object) -> np.ndarray:
    """Kinetic, string, stop and height energy along a path [J]."""
    run = lift.run
    stretch = np.maximum(path.spool - path.x, 0.0)
    depth = np.maximum(-path.x, 0.0)
    kinetic = 0.5 * run.mass_kg * path.v**2 + 0.5 * run.spool_mass_kg * path.spool_speed**2
    springs = 0.5 * run.pull_n_per_m * stretch**2 + 0.5 * run.stop_n_per_m * depth**2
    return kinetic + springs + run.gravity_n * path.x


def test_without_losses_energy_stays() -> None:
    # the spool falls free, the carriage bounces on a lossless stop, the string snaps taut again and again
    lift = Bare(start_m=0.05, gravity_n=G, error_share=1e-3)
    path = lift.advance(2.0)
    total = energy(lift, path)
    assert path.x.min() < -1e-3
    np.testing.assert_allclose(total, total[0], atol=2e-4 * (total[0] - total.min() + G * 0.05))


def test_with_losses_energy_never_grows() -> None:
    lift = Bare(
        restitution=0.5, start_m=0.05, gravity_n=G, friction_n=1.0, static_friction_n=1.0,
        viscous_n_s_per_m=3.0, pull_n_s_per_m=20.0, motor_friction_n=0.5, efficiency=0.8,
    )  # fmt: skip
    total = energy(lift, lift.advance(1.5))
    assert np.diff(total).max() < 1e-6 * G
    assert total[-1] < 0.1 * total[0]


def test_sliding_friction_takes_force_times_path() -> None:
    lift = Bare(friction_n=2.0, static_friction_n=2.0)
    lift.throw(5.0, 1.0)
    path = lift.advance(1.0)
    assert path.x[-1] - 5.0 == pytest.approx(0.5 * 1.0 / 2.0, abs=1e-6)
    assert path.v[-1] == 0.0


# --- sticking -----------------------------------------------------------------------------------------


def test_stuck_carriage_does_not_creep_at_all() -> None:
    # a smoothed friction law would creep: with v/sqrt(v^2 + (2 mm/s)^2) 1.15 mm/s at half the limit
    lift = Bare(gravity_n=1.0, friction_n=2.0, static_friction_n=2.0)
    lift.throw(0.3, 0.0)
    path = lift.advance(20.0)
    assert np.all(path.x == 0.3)


def test_static_friction_holds_up_to_its_limit_and_no_further() -> None:
    for weight, moves in ((2.99, False), (3.01, True)):
        lift = Bare(gravity_n=weight, friction_n=1.0, static_friction_n=3.0)
        lift.throw(0.3, 0.0)
        assert bool(lift.advance(0.1).x[-1] < 0.3) is moves


def test_once_moving_kinetic_friction_counts() -> None:
    lift = Bare(gravity_n=3.5, friction_n=1.0, static_friction_n=3.0)
    lift.throw(0.3, 0.0)
    assert lift.advance(0.2).v[-1] == pytest.approx(-2.5 * 0.2, abs=1e-6)


# --- motor off ----------------------------------------------------------------------------------------


def heavy(**fields: float) -> Bare:
    return Bare(start_m=50.0, gravity_n=12.0, friction_n=2.0, static_friction_n=2.0, efficiency=0.8, **fields)


def test_lift_with_shorted_windings_sags_at_the_speed_at_which_braking_carries_it() -> None:
    # (kF u / R_s + Ff)/eta = W - friction - c u, with kF u = kt ke G^2/R u at the carriage
    lift = heavy(motor_friction_n=1.0, viscous_n_s_per_m=4.0, pull_n_s_per_m=50.0)
    lift.order(Order.SHORTED)
    path = lift.advance(2.0)
    braking = 10.0 * 0.02 * 500.0 / 1.0
    expected = (12.0 - 2.0 - 1.0 / 0.8) / (braking / 0.8 + 4.0)
    assert path.v[-1] == pytest.approx(-expected, rel=1e-4)


def test_lift_with_open_windings_falls_with_what_friction_leaves() -> None:
    lift = heavy(motor_friction_n=1.0, pull_n_s_per_m=50.0)
    path = lift.advance(1.0)
    late = path.t > 0.7
    slope = np.polyfit(path.t[late], path.v[late], 1)[0]
    assert slope == pytest.approx(-(12.0 - 2.0 - 1.0 / 0.8) / 2.0, rel=1e-3)


def test_lift_whose_motor_friction_carries_it_stays() -> None:
    lift = heavy(motor_friction_n=12.0)
    lift.order(Order.OPEN)
    assert np.all(lift.advance(5.0).v == 0.0)


def test_lead_screw_is_not_driven_by_its_load() -> None:
    lift = Bare(
        coupling=Coupling.LEAD_SCREW, start_m=0.5, gravity_n=50.0, pull_n_per_m=1e6, pull_n_s_per_m=100.0
    )
    path = lift.advance(5.0)
    assert np.all(path.spool == path.spool[0])


# --- motor on -----------------------------------------------------------------------------------------


def test_free_motor_runs_up_on_its_line() -> None:
    # duty 0.5 on 12 V with 0.2 ohm of battery: U = V d - (R + Rb d^2) i, i carries the motor's friction
    lift = Bare(command=Mode.DUTY, open_circuit_v=12.0, battery_ohm=0.2, motor_friction_n=3.0)
    lift.body.carriage_m = lift.body.spool_m = 10.0
    lift.run.pull_n_per_m = 0.0
    lift.order(Order.DUTY, 0.5)
    path = lift.advance(3.0)
    current = 3.0 / 10.0
    speed = (0.5 * 12.0 - (1.0 + 0.2 * 0.25) * current) / (0.02 * 500.0)
    assert path.spool_speed[-1] == pytest.approx(speed, rel=1e-4)


def test_braking_takes_v_squared_over_two_a() -> None:
    # A proportional-integral loop comes to rest with the integral it had, so the area under its speed
    # error is zero: from speed to rest it covers exactly the ramp's own v^2/(2 a).
    lift = Bare(start_m=50.0, pull_n_s_per_m=50.0)
    lift.order(Order.SPEED, -0.3)
    before = lift.advance(4.0)
    assert before.spool_speed[-1] == pytest.approx(-0.3, abs=1e-6)
    lift.order(Order.HOLD)
    after = lift.advance(4.0)
    assert after.spool[0] - after.spool[-1] == pytest.approx(0.3**2 / (2 * 4.0), abs=2e-6)


def test_current_limit_bounds_the_pull_on_a_stuck_load() -> None:
    lift = Bare(start_m=0.5, travel_m=0.5, current_limit_a=2.0, pull_n_s_per_m=200.0, friction_n=0.5,
                static_friction_n=0.5, motor_friction_n=0.5)  # fmt: skip
    lift.order(Order.SPEED, 0.2)
    path = lift.advance(3.0)
    pull = 1e4 * (path.spool[-1] - path.x[-1])
    assert 10.0 * 2.0 - 2 * 0.5 <= pull <= 10.0 * 2.0 + 2 * 0.5 + 1.0
    assert path.spool_speed[-1] == 0.0


# --- string -------------------------------------------------------------------------------------------


def test_wound_on_the_wrong_way_the_string_lifts() -> None:
    # spool driven inwards past the spare line: the carriage, on its stop, is lifted by what is wound on
    lift = Bare(
        gravity_n=5.0,
        spare_m=0.1,
        restitution=0.3,
        pull_n_s_per_m=30.0,
        friction_n=1.0,
        static_friction_n=1.0,
    )
    lift.order(Order.SPEED, -0.2)
    path = lift.advance(1.5)
    assert path.spool[-1] < -0.2
    assert path.x[-1] == pytest.approx(-2 * 0.1 - path.spool[-1] - 6.0 / 1e4, abs=2e-3)


def test_string_pulls_and_never_pushes() -> None:
    lift = Bare(friction_n=1.0, static_friction_n=1.0)
    lift.throw(0.5, 0.0)
    lift.body.spool_m = 0.5
    lift.order(Order.SPEED, -0.2)
    path = lift.advance(1.0)
    assert path.spool[-1] < 0.35
    assert np.all(path.x == 0.5)
