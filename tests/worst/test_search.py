"""The search against random sampling on planted corners; the same number of runs, fixed seeds."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from homing.worst.search import search

Floats = NDArray[np.float64]
DIMENSIONS, RUNS = 12, 3000


def corner(points: Floats) -> Floats:
    """Four coordinates at once within 0.05 of their end: 6e-6 of the cube."""
    return (1.0 - points[:, :4]).max(axis=1)[:, None] - 0.05


def behind_a_choice(points: Floats) -> Floats:
    """Three coordinates within 0.05 for one kind of seven only: 2e-5 of the cube."""
    inside = (1.0 - points[:, 1:4]).max(axis=1) - 0.05
    return np.where(np.floor(7.0 * points[:, 0]) == 4.0, inside, 1.0 + inside)[:, None]


@pytest.mark.parametrize("margins", [corner, behind_a_choice])
def test_finds_a_planted_corner_that_random_sampling_of_the_same_budget_misses(margins) -> None:
    found = [search(margins, DIMENSIONS, 1, runs=RUNS, seed=seed).least[0] for seed in range(4)]
    sampled = [margins(np.random.default_rng(seed).random((RUNS, DIMENSIONS))).min() for seed in range(4)]
    assert max(found) < 0.0
    assert np.median(sampled) > 0.0


def test_the_same_number_of_runs_gives_the_same_result() -> None:
    first, second = (search(corner, DIMENSIONS, 1, runs=700, seed=3) for _ in range(2))
    assert first.runs == second.runs == 700
    assert first.least[0] == second.least[0]
    assert np.array_equal(first.point(0), second.point(0))


def test_uses_exactly_the_runs_that_it_may() -> None:
    simulated = []

    def counted(points: Floats) -> Floats:
        simulated.append(len(points))
        return corner(points)

    assert search(counted, DIMENSIONS, 1, runs=1234).runs == sum(simulated) == 1234


def test_stops_when_the_time_is_over_but_has_tried_something() -> None:
    tried = search(corner, DIMENSIONS, 1, seconds=1e-9)
    assert 0 < tried.runs < 1000


def test_counts_failing_runs_of_every_requirement_whichever_it_works_on() -> None:
    def two(points: Floats) -> Floats:
        return np.stack([points[:, 0] - 0.5, 1.0 + points[:, 1]], axis=1)

    tried = search(two, 3, 2, runs=500)
    assert tried.failing[0] > 100
    assert tried.failing[1] == 0
    assert tried.least[1] >= 1.0


def test_finds_nothing_where_nothing_fails() -> None:
    tried = search(lambda points: corner(points) + 1.0, DIMENSIONS, 1, runs=500)
    assert tried.least[0] >= 0.95
