"""What healthy runs need of their guards, read off their traces with the very counting of the routine: time
and counts since the phase was entered, time since the counts last changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.batches import batch
from homing.kernel.observe import FLICKER_COUNTS
from homing.results import Outcome, Trace
from homing.simulate import traced
from homing.tuning.rules import Measure, Rule
from homing.tuning.trials import gather

if TYPE_CHECKING:
    from homing.setting import Setting

Floats = NDArray[np.float64]

#: Healthy runs whose traces are looked at.
TRACED_RUNS = 192
#: Parts into which they are cut, so that the cores share them.
SHARES = 4


@dataclass(frozen=True)
class Needs:
    """The most that any healthy run took of each guard, in the order of the rules and in SI.

    ``runs`` counts the healthy runs looked at.
    """

    most: tuple[float, ...]
    runs: int


def needs(setting: Setting, asked: Sequence[Rule], pool: Executor) -> Needs:
    """What healthy runs took of some guards."""
    shares = np.array_split(np.arange(TRACED_RUNS, dtype=np.int64), SHARES)
    parts = gather(pool, [(_needs_of, (setting, asked, share)) for share in shares])
    return Needs(
        tuple(max(part.most[k] for part in parts) for k in range(len(asked))),
        sum(part.runs for part in parts),
    )


def _needs_of(setting: Setting, asked: Sequence[Rule], indices: NDArray[np.int64]) -> Needs:
    made = batch(setting, indices)
    counts_per_m = float(made.runs.counts_per_m[0])
    most, healthy = np.zeros(len(asked)), 0
    for row, index in enumerate(indices):
        run = traced(setting, made, int(index), row)
        if run.outcome is not Outcome.ZEROED:
            continue
        healthy += 1
        for phase, first, last in _phases(run.trace):
            t, counts = run.trace["t_s"][first : last + 1], run.trace["counts"][first : last + 1]
            took = [_took(rule, phase, t, counts, counts_per_m) for rule in asked]
            most = np.maximum(most, took)
    return Needs(tuple(most.tolist()), healthy)


def _took(rule: Rule, phase: str, t: Floats, counts: NDArray[np.int64], counts_per_m: float) -> float:
    """What one stretch of a phase took of a guard [s] or [m]; nothing where the guard is not asked."""
    if phase not in rule.phases and phase not in rule.ends:
        return 0.0
    moved = counts - counts[0]
    if rule.measure is Measure.TIME:
        return float(t[-1] - t[0])
    if rule.measure is Measure.STANDING:
        return longest_standing(t, counts, last=phase in rule.phases)
    if rule.measure is Measure.EITHER_WAY:
        moved = np.abs(moved)
    elif rule.measure is Measure.IN:
        moved = -moved
    return float(moved.max()) / counts_per_m


def _phases(trace: Trace) -> list[tuple[str, int, int]]:
    """Stretches of one phase: its name, the row in which it was entered, and its last row."""
    state = trace["state"]
    ends = [int(row) for row in np.flatnonzero(state[1:] != state[:-1])]
    return [
        (str(state[last]), first, last)
        for first, last in zip([0, *ends], [*ends, len(state) - 1], strict=True)
    ]


def longest_standing(t: Floats, counts: NDArray[np.int64], *, last: bool) -> float:
    """Longest time without a change of counts [s], told as the routine tells it.

    ``last`` False leaves out the standing with which the stretch ends: there standing is what was waited
    for (the upper stop), while standing before it moves off is not.
    """
    longest, still, since = 0.0, int(counts[0]), float(t[0])
    standing = 0.0
    for now, count in zip(t.tolist(), counts.tolist(), strict=True):
        if abs(count - still) > FLICKER_COUNTS:
            longest, standing = max(longest, standing), 0.0
            still, since = count, now
        standing = now - since
    return max(longest, standing) if last else longest
