"""Small probabilities in words and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from homing.report import wording

if TYPE_CHECKING:
    from homing.rare.study import SmallRate


def rate_lines(rates: tuple[SmallRate, ...]) -> list[str]:
    """Small failure rates, a line each."""
    if not rates:
        return ["Small probabilities: none to estimate, every requirement was seen to fail."]
    head = "Failure rates that the ensemble did not see, by subset simulation (the interval is 95 % sure):"
    return [head, *(f"  {wording.title(each.requirement)}: {rate(each)}" for each in rates)]


def rate(each: SmallRate) -> str:
    """A small failure rate with its interval, or why there is none."""
    found = each.found
    if found.probability is None:
        return f"{found.why} ({found.runs} runs); what the ensemble bounds stands"
    rough = f"; {found.why}" if found.why else ""
    return f"{found.probability:.1e} ({found.low:.1e} to {found.high:.1e}; {found.runs} runs){rough}"


def rates_json(rates: tuple[SmallRate, ...]) -> list[dict[str, Any]]:
    """Small failure rates for ``verify``'s JSON."""
    return [
        {
            "requirement": each.requirement,
            "failure_probability": each.found.probability,
            "ci_low": each.found.low,
            "ci_high": each.found.high,
            "confidence": each.found.confidence,
            "runs": each.found.runs,
            "why": each.found.why,
        }
        for each in rates
    ]
