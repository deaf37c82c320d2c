"""Requirements of different units on one scale.

The relative margin of a requirement is the smallest of three: room between 99 % of the runs and the limit,
as a share of the limit; the same for the nominal run; and room between the failing share and the allowed
one, as a share of the latter. Zero is just met, one is the most, below zero it fails.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from homing.requirements import FIXED_NAMES
from homing.results import RequirementResult


def margin_of(result: RequirementResult, allowed: float) -> float:
    """Relative margin of one requirement [-].

    Parameters
    ----------
    result : RequirementResult
    allowed : float
        Allowed failure rate [-].

    Notes
    -----
    A limit of zero has no share of it; there the failing share alone counts, and whether the nominal run
    holds. So it is with requirements of a team's own: their robustness has no limit that it is a share of.
    """
    terms = [1.0 - result.failure_probability / allowed]
    if result.limit > 0.0:
        terms += [
            1.0 - value / result.limit for value in (result.p99, result.nominal) if not math.isnan(value)
        ]
    elif result.nominal > result.limit:
        terms.append(-1.0)
    if math.isnan(result.nominal) and fails_without(result.name):
        # a nominal run that gives up has no time to compare, and still fails
        terms.append(-1.0)
    return min(terms)


def fails_without(name: str) -> bool:
    """Whether a run that does not have the metric fails the requirement."""
    return name == "time_to_zero_s" or name not in FIXED_NAMES


def worst_margin(
    results: Sequence[RequirementResult], allowed: float, leave_out: Collection[str] = ()
) -> tuple[float, str]:
    """Smallest relative margin and the requirement that has it.

    ``leave_out`` names requirements that count only where they fail.
    """
    found = [(margin_of(result, allowed), result.name) for result in results]
    counted = [(margin, name) for margin, name in found if name not in leave_out or margin < 0.0]
    return min(counted or found)
