"""Practice logs beside the checkout: an independent simulator, invented robots, true causes written down."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from logfiles import DATASETS, needs_datasets

from homing.liftfile import load_lift
from replay.columns import LogColumns
from replay.diagnosing import diagnose
from replay.diagnosis import Diagnosis
from replay.reading import read_log

pytestmark = needs_datasets
PRACTICE = DATASETS / "practice"


@pytest.fixture(scope="module")
def results() -> dict[str, tuple[dict[str, Any], Diagnosis]]:
    truth = json.loads((PRACTICE / "truth.json").read_text())
    found = {}
    for name, true in truth.items():
        lift = load_lift(PRACTICE / true["lift"])
        log = read_log(PRACTICE / true["log"], LogColumns.from_lift(lift.log, true["lift"]))
        found[name] = (true, diagnose(log, lift))
    return found


Results = dict[str, tuple[dict[str, Any], Diagnosis]]


def test_causes(results: Results) -> None:
    faulty = [(true, found) for true, found in results.values() if true["cause"]]
    names = [[each.cause.value for each in found.findings] for _, found in faulty]
    first = [
        bool(found) and found[0] in (true["cause"], *true["alternates"])
        for (true, _), found in zip(faulty, names, strict=True)
    ]
    three = [true["cause"] in found[:3] for (true, _), found in zip(faulty, names, strict=True)]
    assert np.mean(first) >= 0.9
    assert all(three)


def test_no_false_alarms(results: Results) -> None:
    for true, found in results.values():
        assert found.verdict.value in true["verdict_accepted"]
        if true["cause"] is None:
            assert found.findings == ()


def test_the_bad_visit_and_its_overtravel(results: Results) -> None:
    within = []
    for true, found in results.values():
        if true["bad_visit"] is None:
            continue
        assert found.bad_visit is not None
        assert found.bad_visit.row == pytest.approx(true["bad_visit_row"], abs=3)
        error = abs(found.bad_visit.overtravel - true["overtravel_mm"])
        within.append(error <= max(2.0, 0.1 * true["overtravel_mm"]))
        # what the log cannot resolve is in the interval of the edge
        assert error <= max(2.0, 0.1 * true["overtravel_mm"]) + found.bad_visit.edge_doubt
    assert np.mean(within) >= 0.8
