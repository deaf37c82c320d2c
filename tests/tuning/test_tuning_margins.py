"""Requirements on one scale, by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from homing.results import RequirementResult
from homing.tuning.margins import margin_of, worst_margin

ALLOWED = 0.01


def result(name: str = "overtravel_mm", **changes: Any) -> RequirementResult:
    fields: dict[str, Any] = {
        "name": name, "unit": "mm", "limit": 20.0, "nominal": 5.0, "median": 6.0, "p95": 9.0, "p99": 12.0,
        "worst": 15.0, "worst_run": 3, "failures": 0, "runs": 1000, "failure_probability": 0.0, "ci_low": 0.0,
        "ci_high": 0.003, "confidence": 0.95, "margin": 8.0, "passed": True,
    }  # fmt: skip
    return RequirementResult(**(fields | changes))


@pytest.mark.parametrize(
    ("changes", "margin"),
    [
        ({}, 0.4),
        ({"p99": 20.0}, 0.0),
        ({"p99": 30.0, "failure_probability": 0.02}, -1.0),
        ({"nominal": 18.0}, 0.1),
        ({"failure_probability": 0.008}, 0.2),
        ({"failure_probability": 0.03, "p99": 19.0}, -2.0),
        ({"p99": math.nan, "nominal": math.nan}, 1.0),
        ({"limit": 0.0, "p99": 0.0, "nominal": 0.0}, 1.0),
        ({"limit": 0.0, "p99": 0.0, "nominal": 0.0, "failure_probability": 0.005}, 0.5),
    ],
)
def test_the_least_of_three_rooms(changes: dict[str, Any], margin: float) -> None:
    assert margin_of(result(**changes), ALLOWED) == pytest.approx(margin)


def test_a_nominal_run_that_gives_up_fails() -> None:
    assert margin_of(result("time_to_zero_s", nominal=math.nan), ALLOWED) == -1.0


def test_the_worst_one_is_named() -> None:
    results = [result(), result("zero_error_mm", p99=17.0), result("peak_current_a", p99=18.0)]
    assert worst_margin(results, ALLOWED) == (pytest.approx(0.1), "peak_current_a")
    assert worst_margin(results, ALLOWED, ("peak_current_a",)) == (pytest.approx(0.15), "zero_error_mm")


def test_one_that_is_left_out_still_counts_where_it_fails() -> None:
    results = [result(), result("peak_current_a", failure_probability=0.05)]
    assert worst_margin(results, ALLOWED, ("peak_current_a",))[1] == "peak_current_a"


@pytest.mark.parametrize("nominal", [0.4, math.nan])
def test_an_own_requirement_that_the_nominal_run_breaks_fails(nominal: float) -> None:
    broken = result("ours", limit=0.0, p99=-0.2, nominal=nominal)
    assert margin_of(broken, ALLOWED) == -1.0
    assert margin_of(result("ours", limit=0.0, p99=-0.2, nominal=-0.1), ALLOWED) == 1.0
