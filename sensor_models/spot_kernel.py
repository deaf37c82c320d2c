"""Compiled share of a round light spot that falls on a rectangular target.

In units of the spot's radius the area of the disc over [x1, x2] x [y1, y2] is

    H(x2, y2) - H(x1, y2) - H(x2, y1) + H(x1, y1),
    H(x, y) = integral from 0 to x of clamp(y, -g, g) dX,  g = sqrt(1 - X^2)

H is odd in both; for x, y >= 0 it is x y up to X = sqrt(1 - y^2) and follows the arc from there.
"""

from __future__ import annotations

import math
from pathlib import Path

from sensor_models.compiled import compiler
from sensor_models.kinds import Floats

compiled = compiler(Path(__file__))


@compiled
def _under_arc(x: float) -> float:
    """Area under the unit circle from 0 to x, x within 0..1."""
    return 0.5 * (x * math.sqrt(1.0 - x * x) + math.asin(x))


@compiled
def _corner(x: float, y: float) -> float:
    """H of the module's docstring."""
    sign = math.copysign(1.0, x) * math.copysign(1.0, y)
    x, y = min(abs(x), 1.0), abs(y)
    if y >= 1.0:
        return sign * _under_arc(x)
    turn = math.sqrt(1.0 - y * y)
    if x <= turn:
        return sign * x * y
    return sign * (turn * y + _under_arc(x) - _under_arc(turn))


@compiled
def covered_share_many(
    lead_m: Floats, length_m: Floats, low_m: Floats, high_m: Floats, radius_m: Floats, share: Floats
) -> None:
    """Write the share of the spot on the target into share (n, m).

    lead_m (n, m) is how far the target's leading edge is past the beam axis; the target reaches
    length_m (n,) back from it along the travel, and from low_m to high_m (n,) across it.
    """
    for run in range(share.shape[0]):
        radius = radius_m[run]
        y1, y2 = low_m[run] / radius, high_m[run] / radius
        for j in range(share.shape[1]):
            x2 = lead_m[run, j] / radius
            x1 = (lead_m[run, j] - length_m[run]) / radius
            area = _corner(x2, y2) - _corner(x1, y2) - _corner(x2, y1) + _corner(x1, y1)
            share[run, j] = max(area, 0.0) / math.pi
