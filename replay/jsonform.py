"""A diagnosis as the ``replay`` document of the contract, made of plain Python values only.

Rows are data rows of the file counted from 0. Lengths are in mm; where the log has no scale the mm keys
are null and the same lengths stand in counts beside them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from replay.diagnosis import BudgetPart, Diagnosis, EdgeChart, Finding, Visit
from replay.summary import Summary, log_part
from replay.track import working_scale
from replay.what_if_report import as_it_was_json, what_if_json
from replay.what_if_study import WhatIfs


def diagnosis_parts(
    diagnosis: Diagnosis, summary: Summary, what_ifs: WhatIfs | None = None
) -> dict[str, Any]:
    """Everything of the document but its head: log, visits, verdict, findings, what-if and more."""
    per_count = working_scale(diagnosis.log)
    scaled = diagnosis.scaled
    bad = diagnosis.bad_visit
    return {
        "log": log_part(summary),
        "visits": [_visit(each, scaled, per_count) for each in diagnosis.visits],
        "verdict": diagnosis.verdict.value,
        "findings": [_finding(each) for each in diagnosis.findings],
        "what_if": what_if_json(what_ifs),
        "as_it_was": as_it_was_json(what_ifs),
        "reason": diagnosis.reason,
        "bad_visit": None if bad is None else bad.number,
        "overtravel_limit_mm": diagnosis.limit_mm if scaled else None,
        "stop_budget_mm": [_part(each, 1.0) for each in diagnosis.budget] if scaled else None,
        "stop_budget_counts": [_part(each, per_count, "counts") for each in diagnosis.budget],
        "edge_chart": _chart(diagnosis.edge_chart, scaled),
        "missing": list(diagnosis.missing),
        "lift_fits": diagnosis.lift_fits,
        "notes": list(diagnosis.notes),
    }


def _number(value: float, places: int = 3) -> float | None:
    return round(float(value), places) if math.isfinite(value) else None


def _mm(value: float, scaled: bool) -> float | None:
    return _number(value) if scaled else None


def _visit(visit: Visit, scaled: bool, per_count: float) -> dict[str, Any]:
    return {
        "visit": visit.number,
        "t_s": _number(visit.t_s, 6),
        "row": visit.row,
        "approach_speed_mm_s": _mm(visit.approach_speed, scaled),
        "edge_mm": _mm(visit.edge_logged, scaled),
        "edge_interval_mm": _mm(visit.edge_high - visit.edge_low, scaled),
        "overtravel_mm": _mm(visit.overtravel, scaled),
        "overtravel_low_mm": _mm(visit.overtravel_low, scaled),
        "overtravel_high_mm": _mm(visit.overtravel_high, scaled),
        "overtravel_max_mm": _mm(visit.deepest, scaled),
        "approach_speed_counts_s": _number(visit.approach_speed / per_count),
        "edge_counts": _number(visit.edge_logged / per_count),
        "edge_interval_counts": _number((visit.edge_high - visit.edge_low) / per_count),
        "overtravel_counts": _number(visit.overtravel / per_count),
        "overtravel_max_counts": _number(visit.deepest / per_count),
        "made": visit.made,
        "zeroed": visit.zeroed,
        "command_delay_ms": _number(visit.command_delay_s * 1e3),
        "run_on_mm": _mm(visit.run_on, scaled),
        "longest_loop_ms": _number(visit.longest_step_s * 1e3),
        "battery_low_v": _number(visit.battery_low_v),
        "current_a": _number(visit.current_a),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    contribution = finding.contribution_mm
    return {
        "cause": finding.cause.value,
        "score": round(finding.score, 6),
        "t_s": _number(finding.t_s, 6),
        "rows": list(finding.rows),
        "for": list(finding.for_),
        "against": list(finding.against),
        "effects": [each.value for each in finding.effects],
        "contribution_mm": None if contribution is None else _number(contribution),
        "next_test": finding.next_test,
    }


def _part(part: BudgetPart, per_unit: float, unit: str = "mm") -> dict[str, Any]:
    return {
        "part": part.part.value,
        unit: _number(part.mm / per_unit),
        "low": _number(part.low / per_unit),
        "high": _number(part.high / per_unit),
    }


def _chart(chart: EdgeChart, scaled: bool) -> dict[str, Any]:
    def lengths(values: Sequence[float]) -> list[float | None] | None:
        return [_number(value) for value in values] if scaled else None

    return {
        "shape": chart.shape.value,
        "confidence": _number(chart.confidence),
        "size_mm": _mm(chart.size, scaled),
        "at_visit": chart.at_visit,
        "visits": list(chart.visits),
        "edge_mm": lengths(chart.edges),
        "half_width_mm": lengths(chart.half_widths),
        "words": chart.words,
    }
