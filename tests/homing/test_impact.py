from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from homing.impact import LOWEST_RESTITUTION, damping_number, delivered_restitution

DENSE = np.linspace(LOWEST_RESTITUTION, 1.0, 5001)


def test_root_satisfies_the_relation_over_the_whole_range() -> None:
    # below e = 0.999 the plain form is still well conditioned
    e = DENSE[DENSE < 0.999]
    d = damping_number(e)
    np.testing.assert_allclose(np.exp(d * (1 + e)) * (1 - d * e), 1 + d, rtol=5e-7)


def test_damping_and_restitution_are_inverse() -> None:
    np.testing.assert_allclose(delivered_restitution(damping_number(DENSE)), DENSE, atol=1e-13)


def test_search_starts_right_of_the_root_everywhere() -> None:
    # on which its convergence relies: more damping than needed, so less restitution than wanted
    assert np.all(delivered_restitution(1.5 * (1 - DENSE) / DENSE) <= DENSE + 1e-13)


def test_damping_falls_as_restitution_rises() -> None:
    assert np.all(np.diff(damping_number(DENSE)) < 0)


def test_shape_is_kept_and_ends_are_exact() -> None:
    assert damping_number(1.0) == 0.0
    assert damping_number(0.5).shape == ()
    assert damping_number(np.full((3, 2), 0.5)).shape == (3, 2)
    assert damping_number(LOWEST_RESTITUTION) == pytest.approx(20.0, rel=1e-7)


def test_near_one_it_meets_the_series() -> None:
    # D = 3/2 (1 - e) + O((1 - e)^2), from expanding the relation
    for gap in (1e-3, 1e-6, 1e-9):
        assert damping_number(1 - gap) == pytest.approx(1.5 * gap, rel=1.1 * gap + 1e-6)


@pytest.mark.parametrize("bad", [0.0, 0.049, 1.001, math.nan, math.inf, -0.5, [0.5, 0.01]])
def test_restitution_out_of_range_is_refused(bad: object) -> None:
    with pytest.raises(ValueError, match="restitution must be"):
        damping_number(bad)  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_damping_out_of_range_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="damping must be"):
        delivered_restitution(bad)


@pytest.mark.parametrize("exponent", [1.0, 1.5])
@pytest.mark.parametrize("wanted", [0.1, 0.35, 0.7, 0.95])
def test_a_general_ode_solver_bounces_with_the_restitution_asked_for(wanted: float, exponent: float) -> None:
    """Source: the equation of motion itself, solved by scipy; mass, stiffness and speed drop out."""
    mass, stiffness, speed = 1.7, 6e4, 0.23
    d_number = float(damping_number(wanted))

    def leaves(_t: float, y: np.ndarray) -> float:
        return y[0] if y[1] < 0 else 1.0

    leaves.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _t, y: (y[1], -stiffness / mass * max(y[0], 0.0) ** exponent * (1 + d_number * y[1] / speed)),
        (0.0, 10.0),
        (0.0, speed),
        method="DOP853",
        rtol=1e-11,
        atol=1e-14,
        events=leaves,
        max_step=5e-3,
    )
    assert -solved.y[1, -1] / speed == pytest.approx(wanted, abs=1e-8)
