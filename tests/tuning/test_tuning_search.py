"""The search on functions whose best points are known, and against scipy's own optimiser."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from homing.tuning.results import Stopped
from homing.tuning.search import PATIENCE, POPULATION, SAMPLE_POWER, Explored, beats, search

Floats = NDArray[np.float64]
#: Points of the first round besides those given.
SAMPLE = 2**SAMPLE_POWER


def root(points: Floats) -> tuple[Floats, Floats]:
    """Best margin at a time t is sqrt(t), reached where all other coordinates are 0.3."""
    return points[:, 0], np.sqrt(points[:, 0]) - 2.0 * ((points[:, 1:] - 0.3) ** 2).sum(axis=1)


def hill(points: Floats) -> tuple[Floats, Floats]:
    """Margin has its top, 1, at (0.4, 0.6, 0.6): beyond a time of 0.4 nothing is worth waiting for."""
    top = np.array([0.4, 0.6, 0.6])
    return points[:, 0], 1.0 - 6.0 * ((points - top) ** 2).sum(axis=1)


def nowhere(points: Floats) -> tuple[Floats, Floats]:
    """No point holds; the nearest miss, -1, is at 0.7 in every coordinate."""
    return points[:, 0], -1.0 - ((points - 0.7) ** 2).sum(axis=1)


def until(evaluations: int):  # type: ignore[no-untyped-def]
    return lambda done: Stopped.EVALUATIONS if done >= evaluations else None


START = np.full((1, 4), 0.9)


def test_the_front_of_a_known_case_is_found() -> None:
    found = search(root, START, 0, until(600))
    front = found.front()
    times, margins = found.times[front], found.margins[front]
    assert len(front) >= 10
    assert (np.diff(times) > 0.0).all()
    assert (np.diff(margins) > 0.0).all()
    # own choice: near enough that nobody would wait longer for the rest
    long_enough = times > 0.05
    assert (np.sqrt(times) - margins)[long_enough].max() < 0.08
    assert np.median((np.sqrt(times) - margins)[long_enough]) < 0.02
    assert margins[-1] > 0.98
    assert times[0] < 0.1


@pytest.mark.parametrize("seed", range(4))
def test_the_most_margin_is_that_of_scipy_s_optimiser(seed: int) -> None:
    found = search(hill, START[:, :3], seed, until(500))
    best = differential_evolution(
        lambda x: -hill(x[None, :])[1][0], [(0.0, 1.0)] * 3, maxiter=200, tol=1e-10, polish=True
    )
    assert -best.fun == pytest.approx(1.0, abs=1e-6)
    assert found.margins[found.most_margin()] > -best.fun - 0.005
    assert found.points[found.most_margin()] == pytest.approx([0.4, 0.6, 0.6], abs=0.03)
    assert found.times[found.front()].max() < 0.43


def test_it_beats_an_even_sample_of_the_same_size() -> None:
    evaluated = search(hill, START[:, :3], 1, until(300))
    even = np.random.default_rng(1).random((len(evaluated.times), 3))
    assert evaluated.margins.max() > hill(even)[1].max()


def test_where_nothing_holds_the_nearest_miss_is_found() -> None:
    found = search(nowhere, START, 0, until(400))
    assert len(found.front()) == 0
    assert found.points[found.most_margin()] == pytest.approx([0.7] * 4, abs=0.05)


def test_the_same_number_of_evaluations_gives_the_same_points() -> None:
    one, two = (search(root, START, 5, until(150)) for _ in range(2))
    assert one.points.tobytes() == two.points.tobytes()
    longer = search(root, START, 5, until(300))
    assert longer.points[: len(one.points)].tobytes() == one.points.tobytes()
    assert search(root, START, 6, until(150)).points.tobytes() != one.points.tobytes()


def test_the_points_given_are_among_the_first_and_all_stay_in_the_cube() -> None:
    found = search(root, START, 0, until(400))
    assert found.points[0] == pytest.approx(START[0])
    assert found.points.min() >= 0.0
    assert found.points.max() <= 1.0


def test_it_ends_between_rounds() -> None:
    assert len(search(root, START, 0, until(1)).points) == SAMPLE + 1
    found = search(root, START, 0, until(SAMPLE + 2))
    assert len(found.points) <= SAMPLE + 1 + POPULATION
    assert found.stopped is Stopped.EVALUATIONS


def test_it_ends_when_nothing_better_turns_up() -> None:
    flat = search(lambda points: (np.ones(len(points)), np.ones(len(points))), START, 0, until(10**6))
    assert flat.stopped is Stopped.CONVERGED
    assert len(flat.points) <= SAMPLE + 1 + PATIENCE * POPULATION


def test_an_interruption_keeps_the_finished_rounds() -> None:
    calls = []

    def interrupted(points: Floats) -> tuple[Floats, Floats]:
        calls.append(len(points))
        if len(calls) == 4:
            raise KeyboardInterrupt
        return root(points)

    found = search(interrupted, START, 0, until(10**6))
    assert found.stopped is Stopped.INTERRUPTED
    assert len(found.points) == sum(calls[:3])
    whole = search(root, START, 0, until(sum(calls[:3])))
    assert found.points.tobytes() == whole.points.tobytes()


def test_an_interruption_before_anything_is_known_is_passed_on() -> None:
    def interrupted(points: Floats) -> tuple[Floats, Floats]:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        search(interrupted, START, 0, until(100))


pairs = st.lists(st.tuples(st.integers(0, 6), st.integers(-3, 6)), min_size=1, max_size=25)


@given(pairs)
def test_the_front_is_what_nothing_beats(points: list[tuple[int, int]]) -> None:
    times, margins = (np.array(each, dtype=float) for each in zip(*points, strict=True))
    front = Explored(np.zeros((len(times), 1)), times, margins, Stopped.TIME).front()
    told = {(times[i], margins[i]) for i in front}
    unbeaten = {
        (t, m)
        for t, m in zip(times, margins, strict=True)
        if m >= 0.0 and not any(beats(a, b, t, m) for a, b in zip(times, margins, strict=True))
    }
    assert told == unbeaten


@given(st.tuples(st.floats(0, 9), st.floats(-2, 1)), st.tuples(st.floats(0, 9), st.floats(-2, 1)))
def test_two_points_never_beat_each_other(one: tuple[float, float], two: tuple[float, float]) -> None:
    assert not (beats(*one, *two) and beats(*two, *one))
    assert not beats(*one, *one)
