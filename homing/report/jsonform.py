"""Results as the JSON which other people's scripts read; keys are fixed by the contract, others added.

A value that does not exist (NaN in the results) is null, never 0; counts are whole numbers.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import numpy as np

from homing.report.rows import coverage_label
from homing.results import BUDGET_PARTS, METRICS, Outcome

if TYPE_CHECKING:
    from homing.results import FaultResult, RequirementResult, Run, SensorView, Verification

_COUNTS = ("false_triggers", "accepted_false_triggers", "missed_triggers")


def to_text(document: Mapping[str, Any]) -> str:
    """JSON text of a document, ending in a line break; NaN in it would be an error of ours."""
    return json.dumps(document, indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def verification_json(verification: Verification) -> dict[str, Any]:
    """The ``verify`` document of the contract, made of plain Python values only."""
    ensemble = verification.ensemble
    document = {
        **_head(verification.lift, verification.seed),
        "runs": len(ensemble),
        "verdict": verification.verdict,
        "advice": list(verification.advice),
        "assumed": [{"key": a.key, "value": a.value, "origin": a.origin} for a in verification.assumed],
        "requirements": [_requirement(result) for result in verification.requirements],
        "nominal": _ending(verification.nominal),
        "stop_budget_mm": _budget(verification.nominal.budget_mm),
        "zero_scatter_mm": verification.zero_scatter_mm,
        "outcomes": {outcome.word: int(np.sum(ensemble.outcome == outcome)) for outcome in Outcome},
        "faults": [_fault(result) for result in verification.faults],
        "diagnostic_coverage": verification.diagnostic_coverage,
        "cautions": list(verification.cautions),
        "outcome_shares": {outcome.word: ensemble.share(outcome) for outcome in Outcome},
        "diagnostic_coverage_label": coverage_label(verification),
        "stops": _stops(verification.nominal),
        "worst_runs": [{"run": run.index, **_ending(run)} for run in verification.worst_runs],
        "sensor": _sensor(verification.sensor),
        "notes": list(verification.notes),
        "program": verification.program,
    }
    return {key: _clean(value) for key, value in document.items()}


def run_json(run: Run, lift: Any) -> dict[str, Any]:
    """One run alone (``verify --run K``): its ending, its metrics and its stops."""
    document = {
        **_head(lift, run.seed),
        "run": run.index,
        "start": run.start,
        **_ending(run),
        "stop_budget_mm": _budget(run.budget_mm),
        "stops": _stops(run),
    }
    return {key: _clean(value) for key, value in document.items()}


def program_version() -> str:
    """Version of the installed program."""
    try:
        return version("downstop")
    except PackageNotFoundError:
        return "unknown"


def _head(lift: Any, seed: int) -> dict[str, Any]:
    return {
        "downstop": program_version(),
        "command": "verify",
        "lift": lift.name,
        "lift_file": str(lift.source),
        "seed": seed,
    }


def _requirement(result: RequirementResult) -> dict[str, Any]:
    names = ["name", "unit", "limit", "nominal", "median", "p95", "p99", "worst", "worst_run", "failures"]
    names += ["failure_probability", "ci_low", "ci_high", "confidence", "margin"]
    return {name: getattr(result, name) for name in names} | {"pass": result.passed, "why": result.why}


def _fault(result: FaultResult) -> dict[str, Any]:
    return {
        "fault": result.fault,
        "outcome": result.outcome.word,
        "detected": result.detected,
        "shares": {outcome.word: result.shares.get(outcome.word, 0.0) for outcome in Outcome},
        "overtravel_mm": result.overtravel_mm,
        "slack_mm": result.slack_mm,
        "zero_error_mm": result.zero_error_mm,
        "alters": result.alters,
        "common_reason": result.common_reason,
        "runs": result.runs,
        "unguarded_unsafe": result.unguarded_unsafe,
        "unguarded_unsafe_now_faulted": result.unguarded_unsafe_now_faulted,
    }


def _ending(run: Run) -> dict[str, Any]:
    figures = {name: run.metrics[name] for name in METRICS if name in run.metrics}
    whole = {name: _count(figures[name]) for name in _COUNTS if name in figures}
    return {"outcome": run.outcome.word, "reason": run.reason, **figures, **whole}


def _count(value: float) -> int | None:
    return None if math.isnan(value) else round(value)


def _budget(budget_mm: Mapping[str, float]) -> list[dict[str, Any]]:
    order = [part for part in BUDGET_PARTS if part in budget_mm]
    order += [part for part in budget_mm if part not in order]
    return [{"part": part, "mm": budget_mm[part]} for part in order]


def _stops(run: Run) -> list[dict[str, Any]]:
    return [
        {
            "trip_mm": stop.trip_mm,
            "deepest_mm": stop.deepest_mm,
            "stop_distance_mm": stop.distance_mm,
            "stop_budget_mm": _budget(stop.budget_mm),
        }
        for stop in run.stops
    ]


def _sensor(view: SensorView | None) -> dict[str, Any] | None:
    if view is None:
        return None
    names = ["name", "kind", "quantity", "unit", "operate", "release", "trip_mm", "release_mm"]
    names += ["hysteresis_mm", "window_mm", "trip_band_mm", "trip_zone_mm", "zones_mm"]
    return {name: getattr(view, name) for name in names} | {
        "never_seen_share": view.never_seen_share,
        "miss": view.miss,
    }


def _clean(value: Any) -> Any:
    """Plain Python values: no NaN or infinity, no numpy scalars, no tuples."""
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [_clean(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    return str(value)
