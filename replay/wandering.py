"""How the edge goes from one descent to the next: how far it wanders, and whether it is carried along.

A healthy edge repeats within half a millimetre. Counts lost on the way carry it along with the way travelled;
a string that gives way, or wraps that lie over each other, move it to and fro. Other visits tell where an
edge is only as well as it repeats, so this is measured in the log itself before they are asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.placing import Sight

Floats = NDArray[np.float64]

#: A healthy edge wanders by this from one visit to the next [mm]: sensor repeatability, string, play.
WANDER_MM = 0.4
#: How far an edge may wander from visit to visit [mm], and how often each is met before the log is looked at:
#: own choice; nine lifts in ten repeat, the others in even shares.
WANDERS_MM = np.array([WANDER_MM, 1.5, 4.0, 8.0])
SHARES = np.array([0.9, 0.1 / 3, 0.1 / 3, 0.1 / 3])
#: A single odd visit, read late or falsely, makes two odd steps, which are left out.
ODD_STEPS = 2
#: The edge is carried along only if that explains the steps better by this log likelihood, about 50 to 1,
#: over so many steps at least.
CARRIED_BETTER, CARRIED_STEPS = 3.9, 3
#: What is carried along goes one way: this share of the steps does, one odd visit of five left out.
ONE_WAY_SHARE = 0.75


@dataclass(frozen=True)
class Wander:
    """Standard deviation of the edge's step from visit to visit [mm], and what carries it along.

    ``per_way`` is the shift for each mm of way travelled.
    """

    mm: float
    per_way: float = 0.0


def wander_of(sights: Sequence[Sight | None], ways: Sequence[float]) -> Wander:
    """Judge the steps between edges that follow one another.

    Parameters
    ----------
    sights : sequence of Sight or None
        Edges of all descents.
    ways : sequence of float
        Way travelled up to each of them [mm].
    """
    seen = [(each, way) for each, way in zip(sights, ways, strict=True) if each is not None]
    if len(seen) < 2:
        return Wander(WANDER_MM)
    edges = np.array([each.middle + each.age + each.hold / 2 for each, _ in seen])
    variance = np.array([each.width**2 / 12 + each.age**2 + each.hold**2 / 12 for each, _ in seen])
    steps, way = np.diff(edges), np.diff([way for _, way in seen])
    doubt = variance[1:] + variance[:-1]
    loose, free = _likeliest(steps, doubt)
    if len(steps) < CARRIED_STEPS or float(np.min(way)) <= 0:
        return Wander(loose)
    per_way = float(np.median(steps / way))
    if float(np.mean(steps * per_way > 0)) < ONE_WAY_SHARE:
        return Wander(loose)
    tight, carried = _likeliest(steps - per_way * way, doubt)
    return Wander(tight, per_way) if carried - free > CARRIED_BETTER else Wander(loose)


def _likeliest(steps: Floats, doubt: Floats) -> tuple[float, float]:
    """Root mean square of what the edge may wander by [mm], and the log likelihood of the steps."""
    variance = doubt + WANDERS_MM[:, None] ** 2
    each = -(steps**2) / (2 * variance) - np.log(variance) / 2
    # the oddest steps of a lift that repeats
    kept = np.argsort(steps**2 / variance[0])[: max(1, len(steps) - ODD_STEPS)]
    total = np.sum(each[:, kept], axis=1) + np.log(SHARES)
    best = float(np.max(total))
    share = np.exp(total - best)
    wander = float(np.sqrt(np.sum(share * WANDERS_MM**2) / np.sum(share)))
    return wander, best + float(np.log(np.sum(share)))
