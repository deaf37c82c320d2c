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
from replay.diagnosis import Diagnosis, Verdict
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
        assert found.bad_visit.edge_low <= found.bad_visit.edge <= found.bad_visit.edge_high
    assert np.mean(within) >= 0.95


def test_every_visit_and_its_bounds(results: Results) -> None:
    """Not only the bad ones: healthy visits are measured as well, and bounds mostly hold what is true."""
    errors, held = [], []
    for true, found in results.values():
        for visit in true["visits"]:
            near = [each for each in found.visits if abs(each.row - visit.get("row_edge", -99)) <= 3]
            if near and visit["crossed"]:
                error = near[0].overtravel - visit["overtravel_mm"]
                errors.append(abs(error) <= max(2.0, 0.1 * visit["overtravel_mm"]))
                held.append(abs(error) <= near[0].edge_high - near[0].edge_low)
    assert len(errors) > 100
    assert np.mean(errors) >= 0.95
    assert np.mean(held) >= 0.8


def test_no_contribution_is_longer_than_the_way(results: Results) -> None:
    for _, found in results.values():
        bad = found.bad_visit
        if bad is None:
            continue
        most = max(bad.overtravel, bad.deepest) + 1e-9
        assert all((each.contribution_mm or 0.0) <= most for each in found.findings)
        assert sum(part.mm for part in found.budget) == pytest.approx(bad.overtravel, abs=1e-6)
        assert all(0.0 <= part.low <= part.mm <= part.high for part in found.budget)


def test_without_a_scale_the_same_causes() -> None:
    """No lift file: millimetres are unknown, and still healthy logs stay silent and causes are found."""
    right = []
    for true in json.loads((PRACTICE / "truth.json").read_text()).values():
        lift = load_lift(PRACTICE / true["lift"])
        found = diagnose(read_log(PRACTICE / true["log"], LogColumns.from_lift(lift.log, true["lift"])))
        assert not found.scaled
        if true["cause"] is None:
            assert (found.verdict, found.findings) == (Verdict.NO_OVERRUN, ())
        else:
            right.append(found.findings[0].cause.value in (true["cause"], *true["alternates"]))
    assert np.mean(right) >= 0.9
