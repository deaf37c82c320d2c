"""A tuning as the JSON of the contract, with some keys more."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from homing.report.jsonform import program_version
from homing.report.tune_rows import headline, known
from homing.results import Outcome, RequirementResult
from homing.tuning.margins import margin_of
from homing.tuning.results import Drift, Guard, Point, Proof, Side, Tuning

_REQUIREMENT: tuple[str, ...] = (
    "name",
    "unit",
    "limit",
    "nominal",
    "median",
    "p95",
    "p99",
    "worst",
    "worst_run",
    "failures",
)
_REQUIREMENT += ("failure_probability", "ci_low", "ci_high", "confidence", "margin")


def tuning_json(tuning: Tuning, written: Path | None = None) -> dict[str, Any]:
    """The result; ``written`` is the new lift file."""
    return {
        "downstop": program_version(),
        "command": "tune",
        "lift": tuning.lift.name,
        "lift_file": str(tuning.lift.source),
        "new_lift_file": None if written is None else str(written),
        "seed": tuning.seed,
        "runs": tuning.runs,
        "verdict": "pass" if tuning.found else "fail",
        "headline": headline(tuning),
        "settings": _settings(tuning.settings),
        "one_value": [list(keys) for keys in tuning.groups if len(keys) > 1],
        "before": _proof(tuning.before),
        "after": _proof(tuning.after),
        "front": [_point(point) for point in tuning.front],
        "active": tuning.after.point.active,
        "blocking": tuning.blocking.name if tuning.blocking else None,
        "not_moved": list(tuning.fixed),
        "searched_margin": tuning.searched_margin,
        "promised": _point(tuning.chosen),
        "evaluations": tuning.evaluations,
        "stopped": tuning.stopped.word,
        **{name: getattr(tuning, name) for name in ("search_runs", "front_runs", "drift_runs")},
        "guards": [_guard(guard) for guard in tuning.guards],
        "drift": [_drift(each) for each in tuning.drift],
        "assumed": [{"key": a.key, "value": _plain(a.value), "origin": a.origin} for a in tuning.assumed],
        "notes": list(tuning.notes),
        "cautions": list(tuning.cautions),
    }


def _settings(settings: Mapping[str, float]) -> dict[str, float]:
    return {key: int(value) if value == int(value) else value for key, value in settings.items()}


def _point(point: Point) -> dict[str, Any]:
    return {
        "settings": _settings(point.settings),
        "time_to_zero_s": known(point.time_to_zero_s),
        "overtravel_mm_p99": known(point.overtravel_mm_p99),
        "margin": known(point.margin),
        "time_to_zero_s_p99": known(point.time_to_zero_s_p99),
        "active": point.active,
    }


def _proof(proof: Proof) -> dict[str, Any]:
    allowed = proof.lift.requirements.allowed_failure_rate
    return {
        **_point(proof.point),
        "verdict": "pass" if proof.passed else "fail",
        "seed": proof.seed,
        "runs": len(proof.ensemble),
        "requirements": [_requirement(result, allowed) for result in proof.requirements],
        "outcomes": {each.word: int((proof.ensemble.outcome == each).sum()) for each in Outcome},
        "zero_scatter_mm": known(proof.zero_scatter_mm),
        "faults": [{"fault": name, "unsafe": share} for name, share in proof.faults],
        "faults_unsafe_share": known(proof.unsafe_share),
    }


def _requirement(result: RequirementResult, allowed: float) -> dict[str, Any]:
    figures = {name: getattr(result, name) for name in _REQUIREMENT}
    clean = {name: known(value) if isinstance(value, float) else value for name, value in figures.items()}
    return clean | {
        "relative_margin": margin_of(result, allowed),
        "pass": result.passed,
        "why": result.why,
    }


def _guard(guard: Guard) -> dict[str, Any]:
    names = ("key", "needed", "factor", "room", "value", "kept")
    return {name: getattr(guard, name) for name in names} | {"rule": guard.words}


def _drift(drift: Drift) -> dict[str, Any]:
    return {"key": drift.key, "value": drift.value, "low": _side(drift.low), "high": _side(drift.high)}


def _side(side: Side) -> dict[str, Any]:
    """``holds_to``: the last value seen to hold; ``blocks`` is null when nothing tried failed."""
    return {"holds_to": side.value, "blocks": side.blocks or None}


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return value if value is None or isinstance(value, bool | int | float | str | list | dict) else str(value)
