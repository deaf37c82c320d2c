"""Edge position over the visits: steady, a step, a ramp or scatter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from replay.diagnosis import EdgeChart, Shape, Visit

Floats = NDArray[np.float64]

#: Fewer visits than this say nothing about how the edge goes.
FEWEST = 4
#: Spread of edges of a healthy lift beyond the sampling interval [mm]: sensor repeatability, string, counts.
REPEATABLE_MM = 0.6


def edge_chart(visits: Sequence[Visit], unit: str = "mm") -> EdgeChart:
    """Judge how the edge position goes over the visits in which it was read.

    Four accounts are compared by the Bayesian information criterion, the likelihood being normal with the
    known variance of each edge (a uniform sampling interval of width w has w^2/12) plus repeatability:
    one level, a level with one step, a straight line, and one level with a scatter of its own. The
    confidence is the account's share of exp(-BIC/2) [1]_.

    References
    ----------
    .. [1] G. Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978), 461-464.
    """
    seen = [each for each in visits if each.edge_read]
    numbers = tuple(each.number for each in seen)
    edges = np.array([each.read_edge for each in seen])
    half = np.array([each.read_width / 2 for each in seen])
    if len(seen) < FEWEST:
        words = f"{len(seen)} edges were read; fewer than {FEWEST} say nothing about a trend"
        return _chart(Shape.TOO_FEW, 0.0, 0.0, None, numbers, edges, half, words)
    variance = half**2 / 3 + REPEATABLE_MM**2
    accounts = {
        Shape.STEADY: (_level(edges, variance), 1, float(np.ptp(edges)), None),
        Shape.RAMP: _ramp(edges, variance),
        Shape.STEP: _step(edges, variance),
        Shape.SCATTER: _scatter(edges, variance),
    }
    cost = {shape: chi + k * np.log(len(edges)) for shape, (chi, k, _, _) in accounts.items()}
    best = min(cost, key=lambda shape: cost[shape])
    weight = np.exp(-(np.array(list(cost.values())) - cost[best]) / 2)
    _, _, size, at = accounts[best]
    number = None if at is None else numbers[at]
    words = _words(best, size, number, len(edges), unit)
    return _chart(best, float(1 / weight.sum()), size, number, numbers, edges, half, words)


def _chart(
    shape: Shape,
    confidence: float,
    size: float,
    at: int | None,
    numbers: tuple[int, ...],
    edges: Floats,
    half: Floats,
    words: str,
) -> EdgeChart:
    return EdgeChart(shape, confidence, size, at, numbers, tuple(edges.tolist()), tuple(half.tolist()), words)


def _level(edges: Floats, variance: Floats) -> float:
    """-2 log likelihood (less a constant) of one level."""
    mean = float(np.sum(edges / variance) / np.sum(1 / variance))
    return float(np.sum((edges - mean) ** 2 / variance) + np.sum(np.log(variance)))


def _ramp(edges: Floats, variance: Floats) -> tuple[float, int, float, int | None]:
    at = np.arange(len(edges), dtype=np.float64)
    root = 1 / np.sqrt(variance)
    design = np.column_stack([np.ones_like(at), at])
    (level, slope), *_ = np.linalg.lstsq(design * root[:, None], edges * root, rcond=None)
    chi = float(np.sum((edges - level - slope * at) ** 2 / variance) + np.sum(np.log(variance)))
    return chi, 2, float(slope * (len(edges) - 1)), None


def _step(edges: Floats, variance: Floats) -> tuple[float, int, float, int | None]:
    best: tuple[float, int, float, int | None] = (np.inf, 3, 0.0, None)
    for k in range(1, len(edges)):
        chi = _level(edges[:k], variance[:k]) + _level(edges[k:], variance[k:])
        if chi < best[0]:
            best = (chi, 3, float(np.mean(edges[k:]) - np.mean(edges[:k])), k)
    return best


def _scatter(edges: Floats, variance: Floats) -> tuple[float, int, float, int | None]:
    own = max(float(np.var(edges, ddof=1) - np.mean(variance)), 0.0)
    return _level(edges, variance + own), 2, float(np.std(edges, ddof=1)), None


def _words(shape: Shape, size: float, at: int | None, visits: int, unit: str) -> str:
    if shape is Shape.STEADY:
        return f"steady: the edge keeps within {size:.1f} {unit} over {visits} visits"
    if shape is Shape.RAMP:
        return f"ramp: the edge walks by {size:+.1f} {unit} over {visits} visits"
    if shape is Shape.STEP:
        return f"step: from visit {at} on the edge is {size:+.1f} {unit} away"
    return f"scatter: the edge varies by {size:.1f} {unit} (standard deviation) without a trend"
