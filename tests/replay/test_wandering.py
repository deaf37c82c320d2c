"""How far edges wander from visit to visit, and what carries them along."""

from __future__ import annotations

import numpy as np
import pytest

from replay.placing import Sight
from replay.wandering import WANDER_MM, wander_of


def sights(edges: list[float], width: float) -> list[Sight]:
    return [Sight(edge - width / 2, edge + width / 2) for edge in edges]


@pytest.mark.parametrize("width", [0.5, 3.0, 12.0])
def test_edges_that_repeat_do_not_wander(width: float) -> None:
    rng = np.random.default_rng(3)
    edges = 100.0 + rng.uniform(-width / 2, width / 2, 7)
    found = wander_of(sights(edges.tolist(), width), [500.0 * k for k in range(7)])
    # edges that are known to a centimetre only leave a little open
    assert found.mm < 2.5 * WANDER_MM
    assert found.per_way == 0.0


def test_one_late_reading_is_no_wandering() -> None:
    found = wander_of(sights([50.0, 50.2, 12.0, 49.9, 50.1, 50.0], 1.0), [400.0 * k for k in range(6)])
    assert found.mm == pytest.approx(WANDER_MM, rel=0.1)


def test_edges_that_come_and_go_wander() -> None:
    found = wander_of(sights([50.0, 66.0, 55.0, 70.0, 52.0, 64.0], 3.0), [400.0 * k for k in range(6)])
    assert found.mm > 4.0
    assert found.per_way == 0.0


def test_counts_lost_with_the_way_carry_the_edge_along() -> None:
    ways = [0.0, 900.0, 1500.0, 2600.0, 3100.0, 4000.0]
    found = wander_of(sights([0.01 * way for way in ways], 1.0), ways)
    assert found.per_way == pytest.approx(0.01, rel=0.05)
    assert found.mm < 2.0 * WANDER_MM


def test_a_single_step_is_not_carried_along() -> None:
    found = wander_of(sights([20.0, 20.0, 20.0, 60.0, 60.0, 60.0], 1.0), [700.0 * k for k in range(6)])
    assert found.per_way == 0.0
    assert found.mm == pytest.approx(WANDER_MM, rel=0.1)


def test_nothing_seen_is_taken_for_healthy() -> None:
    assert wander_of([None, None], [0.0, 100.0]).mm == WANDER_MM
