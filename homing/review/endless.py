"""Runs of the abstract lift that never end, with a fair lift: what must happen some day, happens.

Fair means: times get over, a lift told to move gets on, one told to stop comes to rest, and counts that stand
are seen to stand. What is left are states that last although every time is over, and circles through several
phases. A circle may need a sensor that misbehaves again and again; the fault that the story names says so.
"""

from __future__ import annotations

import numpy as np

from homing.review.invariants import Invariant
from homing.review.search import Walk
from homing.review.states import Broke


def endless(walk: Walk) -> Broke | None:
    """The first loop after which a run need not end; None if every run does."""
    for before, after in walk.lasting:
        return Broke(Invariant.ENDS, walk.state(before), walk.state(after), -1)
    return _circle(walk)


def _circle(walk: Walk) -> Broke | None:
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    if not walk.edges:
        return None
    table = np.array(walk.edges, dtype=np.int64).reshape(-1, 3)
    shape = (walk.size, walk.size)
    graph = coo_matrix((np.ones(len(table), dtype=np.int8), (table[:, 0], table[:, 1])), shape=shape)
    _, part = connected_components(graph, directed=True, connection="strong")
    phases = np.array([code & walk.packing.masks["phase"] for code in walk.codes], dtype=np.int64)
    inside = part[table[:, 0]] == part[table[:, 1]]
    closes = inside & (table[:, 2] >= 0) & (phases[table[:, 0]] != phases[table[:, 1]])
    if not closes.any():
        return None
    a, b, row = table[np.flatnonzero(closes)[0]].tolist()
    return Broke(Invariant.ENDS, walk.state(a), walk.state(b), row)
