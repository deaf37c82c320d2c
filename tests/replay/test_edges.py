"""Edge chart: steady, step, ramp, scatter, and no verdict from fewer than four visits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from replay.diagnosis import Shape, Visit
from replay.edges import edge_chart

BASE = Visit(
    number=1,
    start=0,
    at=10,
    stand=20,
    end=30,
    t_s=1.0,
    row=10,
    made=True,
    seen=10,
    approach_speed=80.0,
    edge=20.0,
    edge_low=19.5,
    edge_high=20.5,
    edge_logged=20.0,
    read_low=19.5,
    read_high=20.5,
    overtravel=2.0,
    overtravel_low=1.5,
    overtravel_high=2.5,
    deepest=2.0,
    rest=18.0,
    command_delay_s=0.0,
    run_on=1.0,
    zeros=(),
    longest_step_s=0.02,
    battery_v=12.0,
    battery_low_v=12.0,
    current_a=1.0,
)


def visits(edges: list[float], width: float = 1.0) -> list[Visit]:
    return [
        replace(BASE, number=k + 1, edge=edge, read_low=edge - width / 2, read_high=edge + width / 2)
        for k, edge in enumerate(edges)
    ]


def test_fewer_than_four_visits_say_nothing() -> None:
    chart = edge_chart(visits([20.0, 25.0, 30.0]))
    assert chart.shape is Shape.TOO_FEW
    assert chart.confidence == 0.0
    assert "fewer than 4" in chart.words


@pytest.mark.parametrize(
    ("edges", "shape", "size"),
    [
        ([20.0, 20.3, 19.8, 20.1, 20.2, 19.9], Shape.STEADY, 0.5),
        ([20.0, 20.2, 19.9, 45.1, 45.0, 44.8], Shape.STEP, 24.9),
        ([20.0, 25.2, 29.9, 35.1, 40.0, 44.8], Shape.RAMP, 24.9),
        ([20.0, 35.0, 18.0, 41.0, 12.0, 30.0, 22.0], Shape.SCATTER, 10.4),
    ],
)
def test_the_shape_is_told(edges: list[float], shape: Shape, size: float) -> None:
    chart = edge_chart(visits(edges))
    assert chart.shape is shape
    assert abs(chart.size) == pytest.approx(size, abs=0.6)
    assert 0.3 < chart.confidence <= 1.0
    if shape is Shape.STEP:
        assert chart.at_visit == 4
        assert chart.confidence > 0.95


def test_wide_intervals_hide_a_small_step() -> None:
    assert edge_chart(visits([20.0, 20.2, 19.9, 24.0, 24.1, 24.0], 20.0)).shape is Shape.STEADY


def test_a_steady_edge_is_rarely_called_anything_else() -> None:
    rng = np.random.default_rng(3)
    shapes = [edge_chart(visits(list(20 + rng.uniform(-0.5, 0.5, 8)))).shape for _ in range(200)]
    assert np.mean([each is Shape.STEADY for each in shapes]) > 0.9


def test_visits_without_an_edge_do_not_count() -> None:
    some = visits([20.0, 20.0, 20.0, 20.0])
    blind = replace(some[1], read_low=float("nan"), read_high=float("nan"))
    assert edge_chart([some[0], blind, *some[2:]]).shape is Shape.TOO_FEW
