"""Real and practice logs beside the checkout, traces of our own, and the columns we advise to log.

Sources: data of a real DC gearmotor (public repository of a small maze robot, CERN-OHL-P v2) and of a real
linear axis (A. Janot, M. Gautier, M. Brunot, "Data Set and Reference Models of EMPS", Workshop on
Nonlinear System Identification Benchmarks, 2019); practice logs made for this project by an independent
simulator. None of them is part of the repository.
"""

from __future__ import annotations

import csv
import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from logfiles import DATASETS, needs_datasets, rows_of

from replay import LogColumns, Role, measured_periods, read_log
from replay.columns import ColumnSpec
from replay.defects import DefectKind
from replay.motion import motion
from replay.timing import periods
from replay.units import Unit

PRACTICE = DATASETS / "practice"
TRUTH: dict[str, Any] = (
    json.loads((PRACTICE / "truth.json").read_text()) if (PRACTICE / "truth.json").exists() else {}
)
NAMES = sorted(TRUTH) or ["none"]


def practice(name: str) -> tuple[Path, dict[str, Any]]:
    truth = TRUTH[name]
    return PRACTICE / truth["log"], tomllib.loads((PRACTICE / truth["lift"]).read_text())["log"]


@needs_datasets
@pytest.mark.parametrize("name", NAMES)
def test_practice_logs_by_map(name: str) -> None:
    path, mapping = practice(name)
    truth = TRUTH[name]
    log = read_log(path, mapping)
    assert log.rows == truth["rows"]
    assert {role.value for role in log.roles} == set(truth["columns"])
    # the simulator's own period, to the 5 % that its jitter and the rounding of stamps leave
    assert periods(log).median_s * 1e3 == pytest.approx(truth["period_ms"], rel=0.05)
    assert len(log.stretches) == 1
    assert np.isfinite(log.counts).all()
    reading = log[Role.SENSOR]
    assert set(np.unique(reading)) == {0.0, 1.0}
    if truth["event"] is not None:
        # what happened lies between the row that shows it and the row before
        at, t_s = int(np.searchsorted(log.row, truth["event"]["row"])), truth["event"]["t_s"]
        assert log.time_s[at - 1] - 0.002 <= t_s <= log.time_s[at] + 0.002


@needs_datasets
@pytest.mark.parametrize("name", NAMES)
def test_practice_logs_without_a_map_are_recognised_or_left_open_never_wrong(name: str) -> None:
    path, mapping = practice(name)
    log = read_log(path)
    expected = {role: spec["column"] for role, spec in mapping.items()}
    found = {role.value: choice.spec.column for role, choice in log.roles.items()}
    assert found.items() <= expected.items()
    if TRUTH[name]["recognisable_without_mapping"]:
        assert found == expected
    mapped = read_log(path, mapping)
    np.testing.assert_array_equal(log.time_s, mapped.time_s)
    np.testing.assert_array_equal(log.counts, mapped.counts)
    if Role.COMMAND in log:
        np.testing.assert_array_equal(log[Role.COMMAND], mapped[Role.COMMAND])


@needs_datasets
@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("p02_log", DefectKind.GAP),
        ("p07_log", DefectKind.GAP),
        ("p13_log", DefectKind.COUNTER_RESET),
    ],
)
def test_defects_lie_where_the_true_cause_acts(name: str, kind: DefectKind) -> None:
    path, mapping = practice(name)
    assert rows_of(read_log(path, mapping), kind) == [TRUTH[name]["event"]["row"]]


@needs_datasets
def test_healthy_practice_logs_show_no_defect_of_counts() -> None:
    for name, truth in TRUTH.items():
        if truth["cause"] is None:
            path, mapping = practice(name)
            kinds = {each.kind for each in read_log(path, mapping).defects}
            assert not kinds & {DefectKind.COUNTER_JUMP, DefectKind.COUNTER_RESET, DefectKind.COUNTER_WRAP}


@needs_datasets
def test_the_torn_practice_log() -> None:
    path, mapping = practice("p10_log")
    log = read_log(path, mapping)
    assert rows_of(log, DefectKind.TORN_LAST_LINE) == [log.rows - 1]


@needs_datasets
@pytest.mark.parametrize("name", ["encoders1.csv", "encoders2.csv"])
def test_the_gearmotor_as_it_is(name: str) -> None:
    path = DATASETS / "dc_gearmotor_encoder" / name
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file, skipinitialspace=True))
    stamps = np.array([int(row["time"]) for row in rows])
    left = np.array([int(row["leftEncoder"]) for row in rows])
    log = read_log(path)
    # the data set says that the stamps are ms, 5 ms apart; here it follows from the step
    assert log.roles[Role.TIME].spec.unit is Unit.MILLISECOND
    np.testing.assert_array_equal(log.time_s, (stamps - stamps[0]) / 1e3)
    np.testing.assert_array_equal(log.counts, left)
    assert log.roles[Role.COUNTS_2].spec.column == "rightEncoder"
    assert log.defects == ()
    assert set(np.round(measured_periods(path), 9)) == {0.005}
    moved = motion(log)
    assert len(moved.turns) == 0
    assert moved.fastest_in == pytest.approx(np.min(left[10:] - left[:-10]) / 0.05)


@needs_datasets
def test_a_real_linear_axis_through_a_small_conversion(tmp_path: Path) -> None:
    """EMPS holds arrays; written as a table it reads as any log: s, encoder in m, command in V."""
    import scipy.io

    data = {key: value.ravel() for key, value in scipy.io.loadmat(DATASETS / "emps" / "DATA_EMPS.mat").items()
            if key in ("t", "qm", "qg", "vir")}  # fmt: skip
    path = tmp_path / "emps.parquet"
    pl.DataFrame(
        {"time_s": data["t"], "position_m": data["qm"], "target_m": data["qg"], "command_v": data["vir"]}
    ).write_parquet(path)
    log = read_log(path)
    assert log.rows == 24_841
    assert periods(log).median_s == pytest.approx(1e-3, rel=1e-3)
    assert log.roles[Role.COMMAND].spec.unit is Unit.VOLT
    assert log.height_mm is not None
    np.testing.assert_allclose(log.height_mm, data["qm"] * 1e3, rtol=1e-12, atol=1e-12)
    np.testing.assert_array_equal(log[Role.COMMAND], data["vir"])
    np.testing.assert_allclose(log[Role.TARGET], data["qg"] * 1e3, rtol=1e-12, atol=1e-12)
    assert not {each.kind for each in log.defects} & {DefectKind.COUNTER_JUMP, DefectKind.COUNTER_RESET}
    moved = motion(log)
    span_s = data["t"][50] - data["t"][0]
    fastest = np.max(data["qm"][50:] - data["qm"][:-50]) / span_s * 1e3
    assert moved.fastest_out == pytest.approx(fastest, rel=2e-3)
    # the set point goes to and fro; a turn of the axis is one of the set point
    target = LogColumns({Role.TIME: ColumnSpec("time_s"), Role.COUNTS: ColumnSpec("target_m")})
    assert len(moved.turns) == len(motion(read_log(path, target)).turns) > 0


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_a_trace_of_a_simulated_run_comes_back(suffix: str, tmp_path: Path) -> None:
    from homing.liftfile import load_lift
    from homing.report.tracefile import write_trace
    from homing.simulate import simulate

    run = simulate(load_lift(None))
    path = write_trace(run.trace, tmp_path / f"trace{suffix}")
    log = read_log(path)
    assert log.defects == ()
    np.testing.assert_array_equal(log.counts, run.trace["counts"])
    np.testing.assert_array_equal(log[Role.BATTERY], run.trace["battery_v"])
    np.testing.assert_array_equal(log[Role.CURRENT], run.trace["current_a"])
    np.testing.assert_array_equal(log[Role.COMMAND], run.trace["command_fraction"])
    np.testing.assert_allclose(log.time_s, run.trace["t_s"] - run.trace["t_s"][0], rtol=0, atol=1e-12)
    assert log[Role.STATE].tolist() == [str(state) for state in run.trace["state"]]
    assert log.roles[Role.SENSOR].spec.column.startswith("reading_")


def test_the_columns_that_the_starter_advises_are_recognised(tmp_path: Path) -> None:
    from homing.starter import logging_advice

    advice = logging_advice()
    header = next(
        part for line in advice.splitlines() for part in line.split('"') if part.startswith("time_ms,")
    )
    cells = {
        "time_ms": "20",
        "command": "0.5",
        "sensor": "1",
        "battery_v": "12.5",
        "current_a": "0.5",
        "state": "Home",
    }
    rows = [[str(20 * i) if name == "time_ms" else cells.get(name, str(i)) for name in header.split(",")]
            for i in range(30)]  # fmt: skip
    path = tmp_path / "log.csv"
    path.write_text("\n".join([header, *(",".join(row) for row in rows)]))
    log = read_log(path)
    assert {choice.spec.column for choice in log.roles.values()} == set(header.split(","))
