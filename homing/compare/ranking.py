"""From figures to an order and to words: who comes first, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from homing.compare.judged import SENSOR_REQUIREMENTS
from homing.report.numbers import percent
from homing.report.wording import title

if TYPE_CHECKING:
    from homing.compare.results import CandidateResult
    from homing.results import RequirementResult

#: A pass with a lower probability of being seen is worth a word.
SURELY_SEEN = 0.999
#: A false trigger that is rarer is not.
HARDLY_FALSE = 1e-4


def ranked(results: Sequence[CandidateResult]) -> tuple[CandidateResult, ...]:
    """In the order of their rank: what passes, by its least margin; what falls short, by how often; never
    made.

    Equal ones keep the order of the file.
    """
    ordered = sorted(results, key=_key)
    return tuple(replace(each, rank=place) for place, each in enumerate(ordered, start=1))


def _key(result: CandidateResult) -> tuple[float, ...]:
    if result.miss:
        return (2.0, 0.0, 0.0)
    if result.passed:
        margin = result.least_margin
        return (0.0, -margin if not math.isnan(margin) else math.inf, 0.0)
    worst = max(each.failure_probability for each in result.failing)
    missed_at_nominal = any(abs(each.nominal) > each.limit for each in result.failing)
    return (1.0, float(missed_at_nominal), worst)


def why_passed(requirements: Sequence[RequirementResult]) -> str:
    """What holds, and which requirement is the tightest."""
    told = [each for each in requirements if each.name in SENSOR_REQUIREMENTS and not math.isnan(each.p99)]
    if not told:
        return "every requirement holds"
    tightest = min(told, key=lambda each: each.margin / each.limit)
    return (
        f"every requirement holds; tightest is {title(tightest.name)}, {tightest.p99:.3g} of "
        f"{tightest.limit:g} {tightest.unit} in 99 of 100 runs"
    )


def why_failed(requirements: Sequence[RequirementResult]) -> str:
    """Which requirement blocks, and by how much it is missed."""
    failing = [each for each in requirements if not each.passed]
    worst = max(failing, key=lambda each: each.failures)
    others = [title(each.name) for each in failing if each is not worst]
    also = f"; also {', '.join(others)}" if others else ""
    if worst.failures == 0 and not _nominal_fails(worst):
        return f"{worst.why}{also}"
    reached = "" if math.isnan(worst.p99) else f", {worst.p99:.3g} {worst.unit} in 1 of 100 runs"
    return (
        f"{title(worst.name)} over its limit of {worst.limit:g} {worst.unit} in "
        f"{percent(worst.failures / worst.runs)} of the runs{reached}{also}"
    )


def _nominal_fails(result: RequirementResult) -> bool:
    return math.isnan(result.nominal) or abs(result.nominal) > result.limit


def remarks(result: CandidateResult) -> tuple[str, ...]:
    """What a builder should know besides the verdict."""
    said = []
    if result.broken_wire == "reads not made":
        said.append("a broken wire reads as not made: it then comes down unseen")
    if result.seen_probability < SURELY_SEEN:
        said.append(f"one pass is seen with {percent(result.seen_probability)} only")
    if result.false_trigger_probability > HARDLY_FALSE:
        said.append(
            f"a false trigger in {percent(result.false_trigger_probability)} of the passages over the travel"
        )
    said += [
        f"also made from {low:.0f} to {high:.0f} mm" for low, high in result.false_places_mm if high > low
    ]
    if result.design_rule is not None and not result.design_rule.kept:
        said.append(result.design_rule.words)
    if result.press is not None and not result.press.half_left:
        said.append(result.press.words)
    return tuple(said)
