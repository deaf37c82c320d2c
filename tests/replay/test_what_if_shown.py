"""What a bad visit shows of a lift that its file says otherwise, on logs of another simulator."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fitlogs import duty_lift, traced
from logfiles import DATASETS, needs_datasets

from homing.liftfile import Lift, load_lift
from replay.columns import LogColumns
from replay.diagnosing import diagnose
from replay.fit_trip import measured_trip_m, nominal_trip_m
from replay.prevention import prevention
from replay.reading import read_log
from replay.what_if_report import as_it_was_json, what_if_text
from replay.what_if_study import WhatIfs

PRACTICE = DATASETS / "practice"
OVERRUN = {
    "routine.fast_speed_mm_s": 300.0,
    "controller.period_ms": 50.0,
    "controller.sensor_latency_ms": 5.0,
}
#: Largest share of the overtravel that the simulated visit may be off by and still explain it.
EXPLAINED = 0.3


def practised(name: str) -> tuple[WhatIfs, float]:
    """The study of a practice log and its overtravel [mm]."""
    truth = json.loads((PRACTICE / "truth.json").read_text())[f"{name}_log"]
    lift = load_lift(PRACTICE / truth["lift"])
    log = read_log(PRACTICE / truth["log"], LogColumns.from_lift(lift.log, "lift.toml"))
    found = diagnose(log, lift)
    study = prevention(found, lift)
    assert study is not None
    return study, float(truth["overtravel_mm"])


@needs_datasets
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("p01", "coasts"),
        ("p04", "let go of the motor"),
        ("p10", "trips"),
        ("p16", ""),
        ("p17", "pulls solid at once"),
        ("p18", "coasts"),
    ],
)
def test_the_visit_shows_why_it_went_that_far(name: str, words: str) -> None:
    study, overtravel_mm = practised(name)
    assert words in " ".join(study.shown)
    assert abs(study.model_error_mm) < EXPLAINED * overtravel_mm
    assert any(each.prevented is not None for each in study.changes)


def test_a_lift_like_its_file_shows_nothing(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example).replace(OVERRUN)
    log = traced(lift, tmp_path)
    found = diagnose(log, lift, limit_mm=12.0)
    assert found.bad_visit is not None
    study = prevention(replace(found, limit_mm=12.0), lift)
    assert study is not None
    assert study.shown == ()
    assert study.lacking == ""
    left_out = [change for change, _ in study.not_tried]
    assert left_out == ["brake instead of coast", "wider target"]
    said = as_it_was_json(study)
    assert said is not None
    assert [each["change"] for each in said["not_tried"]] == left_out
    assert what_if_text(study).count("not tried") == 2


def test_the_trip_of_a_log_is_measured_from_its_own_count(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    sensor = f"sensor.{lift.sensor().name}.mount_mm"
    raised = lift.replace({sensor: lift.quantities()[sensor] + 12.0})
    log = traced(raised, tmp_path)
    found = measured_trip_m([log], lift)
    assert found is not None
    assert np.isclose(found[0], nominal_trip_m(raised), atol=3.0 * found[1] + 1e-3)
    assert found[0] - nominal_trip_m(lift) > 8e-3
