"""A comparison as the JSON which other people's scripts read; keys of the contract first, others added."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any

from homing.report.jsonform import program_version

if TYPE_CHECKING:
    from homing.compare.results import CandidateResult, Comparison, MountAdvice

_CONTRACT: tuple[str, ...] = (
    "name",
    "kind",
    "mount_mm",
    "gap_mm",
    "trip_mm",
    "release_mm",
    "hysteresis_mm",
    "window_mm",
)
_CONTRACT += ("seen_probability", "false_trigger_probability", "stop_distance_mm", "margin_mm", "rank")
_ADDED: tuple[str, ...] = ("seen_at_worst", "repeatability_mm", "room_mm", "least_margin", "sway_mm_per_mm")
_ADDED += ("temperature_mm_per_k", "broken_wire", "stack_worst_mm", "stack_rss_mm", "miss", "remarks")
_ADVICE: tuple[str, ...] = (
    "sensor",
    "lowest_mm",
    "highest_mm",
    "best_mm",
    "fastest_mm_s",
    "speed_mm_s",
    "formula_lowest_mm",
)
_ADVICE += ("formula_fastest_mm_s", "needed_mm", "margin_at_best_mm", "confirmed_runs", "needs_slow_zone_mm")
_ADVICE += ("slow_zone_speed_mm_s", "blocking", "sentences")


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """The ``compare`` document of the contract, made of plain Python values only."""
    document = {
        "downstop": program_version(),
        "command": "compare",
        "lift": comparison.lift.name,
        "lift_file": str(comparison.lift.source),
        "seed": comparison.seed,
        "runs": comparison.runs,
        "candidates": [_candidate(each) for each in comparison.candidates],
        "mount_advice": _advice(comparison.advice) if comparison.advice is not None else None,
        "assumed": [asdict(each) for each in comparison.assumed],
        "notes": list(comparison.notes),
        "cautions": list(comparison.cautions),
    }
    return {key: _plain(value) for key, value in document.items()}


def _candidate(result: CandidateResult) -> dict[str, Any]:
    stated = {name: _value(getattr(result, name)) for name in _CONTRACT}
    added = {name: getattr(result, name) for name in _ADDED}
    return {
        **stated,
        "pass": result.passed,
        "why": result.why,
        **added,
        "seen": [{"speed_mm_s": speed, "probability": share} for speed, share in result.seen],
        "false_places_mm": result.false_places_mm,
        "tolerance_shifts_mm": dict(result.tolerance_shifts_mm),
        "chosen": [asdict(each) for each in result.chosen],
        "design_rule": _rule(result),
        "requirements": [
            {
                "name": each.name,
                "unit": each.unit,
                "limit": each.limit,
                "nominal": each.nominal,
                "p99": each.p99,
                "worst": each.worst,
                "failures": each.failures,
                "margin": each.margin,
                "pass": each.passed,
            }
            for each in result.requirements
        ],
    }


def _rule(result: CandidateResult) -> Mapping[str, Any] | None:
    rule = result.design_rule
    return None if rule is None else {**asdict(rule), "kept": rule.kept}


def _advice(advice: MountAdvice) -> dict[str, Any]:
    terms = [asdict(term) for term in advice.terms]
    return {**{name: getattr(advice, name) for name in _ADVICE}, "terms": terms}


def _value(value: Any) -> Any:
    return asdict(value) if is_dataclass(value) and not isinstance(value, type) else value


def _plain(value: Any) -> Any:
    """Lists for tuples, and null for what does not exist or has no end."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value if value is None or isinstance(value, bool | int | str) else str(value)
