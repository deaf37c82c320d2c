"""Pit checklist: the few checks worth five minutes before this lift moves, its weakest points first.

Safety comes first, always. The rest is ordered by how much each check guards: how often the faults that it
would find end unsafe, how near the requirements that it bears on come to their limits, and how strongly the
tolerances that it looks at move them. Every limit is worked out from this lift and says from what.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from homing.checks.items import Facts, Item
from homing.checks.running import RUNNING
from homing.checks.safety import SAFETY
from homing.checks.sensing import SENSING
from homing.draws import draw
from homing.requirements import REQUIREMENTS, values_of

if TYPE_CHECKING:
    from homing.results import Verification

#: Most checks, and most time for all of them [s]: what is customary between two matches.
MOST_CHECKS, MOST_SECONDS = 15, 300
#: Weaker correlations than this are put down to chance: about three standard deviations at 1000 runs.
FAINT = 0.1


@dataclass(frozen=True)
class Check:
    """One check.

    Attributes
    ----------
    number : int
        Place in the list, from 1.
    title, do, limit : str
        What is checked, how, and what passes.
    low, high : float
        The limits in ``unit``; NaN: none on that side.
    unit : str
        mm, ms or V; empty for a check that is answered with yes or no.
    seconds : float
        Time it takes; own estimate.
    why : str
        The weak point of this lift for which it stands here.
    origin : str
        What the limits were worked out from.
    safety : bool
    weight : float
        What the order follows.
    """

    number: int
    title: str
    do: str
    limit: str
    low: float
    high: float
    unit: str
    seconds: float
    why: str
    origin: str
    safety: bool
    weight: float


def checklist(verification: Verification) -> tuple[Check, ...]:
    """The checks for a lift, worked out from its verification; at most 15, five minutes in all.

    Parameters
    ----------
    verification : Verification

    Returns
    -------
    tuple of Check
        Safety items first, then by weight.
    """
    facts = Facts(verification)
    weak = _WeakPoints(verification)
    made = (make(facts) for make in (*SAFETY, *SENSING, *RUNNING))
    weighed = [(*weak.of(item), item) for item in made if item is not None]
    weighed.sort(key=lambda each: (not each[2].safety, -each[0] if not each[2].safety else 0.0))
    chosen: list[Check] = []
    left = float(MOST_SECONDS)
    for weight, why, item in weighed:
        if len(chosen) < MOST_CHECKS and item.seconds <= left:
            chosen.append(_check(len(chosen) + 1, item, weight, why))
            left -= item.seconds
    return tuple(chosen)


def _check(number: int, item: Item, weight: float, why: str) -> Check:
    return Check(
        number=number,
        title=item.title,
        do=item.do,
        limit=item.limit.words,
        low=item.limit.low,
        high=item.limit.high,
        unit=item.limit.unit,
        seconds=item.seconds,
        why=why,
        origin=item.origin,
        safety=item.safety,
        weight=weight,
    )


class _WeakPoints:
    """How much each check guards, told from a verification."""

    def __init__(self, verification: Verification) -> None:
        self.unsafe = {fault.fault: fault.shares.get("unsafe", 0.0) for fault in verification.faults}
        self.near = {
            result.name: 1.0 if not result.passed else _share(result.p99, result.limit)
            for result in verification.requirements
        }
        self.felt = {key: max(found) for key, found in _influences(verification, self.near).items()}

    def of(self, item: Item) -> tuple[float, str]:
        """Weight of a check, and in words the point that weighs most."""
        points = [
            *((self.unsafe[name], f"{name}: {100 * self.unsafe[name]:.0f} % of its runs end unsafe")
              for name in item.faults if name in self.unsafe),
            *((self.near[name], f"{_title(name)} comes to {100 * self.near[name]:.0f} % of its limit")
              for name in item.requirements if name in self.near),
            *((self.felt[key][0], self.felt[key][1]) for key in item.tolerances if key in self.felt),
        ]  # fmt: skip
        if not points:
            return 0.0, ""
        groups = (
            max((self.unsafe.get(name, 0.0) for name in item.faults), default=0.0),
            max((self.near.get(name, 0.0) for name in item.requirements), default=0.0),
            max((self.felt[key][0] for key in item.tolerances if key in self.felt), default=0.0),
        )
        weight, why = max(points)
        return sum(groups), why if weight > 0.0 else ""


def _share(value: float, limit: float) -> float:
    """How near a value comes to its limit, 0 to 1."""
    return min(abs(value) / limit, 1.0) if limit > 0.0 and math.isfinite(value) else 0.0


def _title(name: str) -> str:
    from homing.report.wording import title

    return title(name)


def _influences(verification: Verification, near: dict[str, float]) -> dict[str, list[tuple[float, str]]]:
    """For each tolerance: how strongly it moves each requirement, times how near that comes to its limit."""
    ensemble, lift = verification.ensemble, verification.lift
    drawn = draw(lift, ensemble.seed, np.arange(len(ensemble), dtype=np.int64)).values
    found: dict[str, list[tuple[float, str]]] = {}
    for tolerance in lift.tolerances:
        found[tolerance.key] = [
            (
                abs(r) * near.get(name, 0.0),
                f"its tolerance moves {_title(name)} (correlation {r:+.2f})",
            )
            for name, r in _correlations(verification, drawn[tolerance.key])
        ] or [(0.0, "")]
    return found


def _correlations(verification: Verification, drawn: np.ndarray) -> Iterator[tuple[str, float]]:
    for requirement in REQUIREMENTS:
        if requirement.name not in verification.ensemble.metrics:
            continue
        values = values_of(requirement, verification.ensemble)
        known = np.isfinite(values)
        if known.sum() > 2 and np.ptp(values[known]) > 0.0 and np.ptp(drawn[known]) > 0.0:
            r = float(np.corrcoef(values[known], drawn[known])[0, 1])
            if abs(r) >= FAINT:
                yield requirement.name, r
