"""The JSON of ``verify``: the contract's keys, nothing that JSON does not know."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from report_fakes import NAN, fake_lift, fake_run, fake_verification

from homing.assumed import Assumed
from homing.report import run_json, to_text, verification_json
from homing.results import Outcome

# keys as section 7 of the contract lists them
TOP = {
    "downstop",
    "command",
    "lift",
    "seed",
    "runs",
    "verdict",
    "advice",
    "assumed",
    "requirements",
    "nominal",
}
TOP |= {"stop_budget_mm", "zero_scatter_mm", "outcomes", "faults", "diagnostic_coverage", "cautions"}
REQUIREMENT = {"name", "unit", "limit", "nominal", "median", "p95", "p99", "worst", "worst_run", "failures"}
REQUIREMENT |= {"failure_probability", "ci_low", "ci_high", "confidence", "margin", "pass"}
NOMINAL = {"outcome", "reason", "time_to_zero_s", "trip_mm", "stop_distance_mm", "overtravel_mm"}
NOMINAL |= {"impact_speed_mm_s", "slack_mm", "zero_error_mm", "false_triggers", "accepted_false_triggers"}
NOMINAL |= {"missed_triggers", "peak_current_a"}
FAULT = {"fault", "outcome", "detected", "shares", "overtravel_mm", "slack_mm", "zero_error_mm"}


def document(**changes: Any) -> dict[str, Any]:
    text = to_text(verification_json(fake_verification(False, **changes)))
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def test_keys_are_those_of_the_contract() -> None:
    found = document()
    assert set(found) >= TOP
    assert set(found["requirements"][0]) >= REQUIREMENT
    assert set(found["nominal"]) >= NOMINAL
    assert set(found["faults"][0]) >= FAULT
    assert set(found["outcomes"]) == set(found["faults"][0]["shares"]) == {"zeroed", "faulted", "unsafe"}
    assert set(found["assumed"][0]) == {"key", "value", "origin"}
    assert set(found["stop_budget_mm"][0]) == {"part", "mm"}


def test_values() -> None:
    found = document()
    assert found["command"] == "verify"
    assert found["verdict"] == "fail"
    assert found["runs"] == sum(found["outcomes"].values()) == 2000
    assert found["requirements"][0]["pass"] is False
    assert found["nominal"]["outcome"] == "zeroed"
    assert found["nominal"]["false_triggers"] == 0
    assert isinstance(found["nominal"]["false_triggers"], int)
    assert sum(part["mm"] for part in found["stop_budget_mm"]) == pytest.approx(
        found["nominal"]["stop_distance_mm"]
    )


def test_what_does_not_exist_is_null_and_never_zero() -> None:
    run = fake_run(None, Outcome.FAULTED)
    found = document(nominal=replace(run, stops=(), metrics={**run.metrics, "missed_triggers": NAN}))
    assert found["nominal"]["time_to_zero_s"] is None
    assert found["nominal"]["missed_triggers"] is None
    assert found["stop_budget_mm"] == []
    assert found["requirements"][4]["worst"] is None
    assert found["faults"][0]["zero_error_mm"] is None


def test_numpy_values_become_plain_ones() -> None:
    found = document(
        zero_scatter_mm=np.float64(0.25),
        assumed=(Assumed("a.b", np.float32(0.5), "x"), Assumed("a.c", (np.int64(3), NAN), "y")),
    )
    assert found["zero_scatter_mm"] == 0.25
    assert [each["value"] for each in found["assumed"]] == [0.5, [3, None]]


def test_run_alone() -> None:
    found = json.loads(to_text(run_json(fake_run(17, Outcome.UNSAFE), fake_lift())))
    assert found["run"] == 17
    assert found["outcome"] == "unsafe"
    assert found["zero_error_mm"] is None
    assert len(found["stops"]) == 3
