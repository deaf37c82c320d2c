"""``downstop fit --force-per-volt``: mass and friction from force and motion, through the command."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from logfiles import DATASETS, needs_datasets

from homing.cli import run
from replay.grid import grid_of
from replay.reading import read_log
from replay.summary import Summary, log_part, log_text

COLUMNS = """[log]
time = { column = "t_s", unit = "s" }
counts = { column = "x_m", unit = "m" }
command = { column = "u_v", unit = "V" }
"""
FORCE_PER_VOLT = 20.0
MASS_KG, VISCOUS, COULOMB_N, OFFSET_N = 3.0, 12.0, 5.0, -0.7
#: Computed once from the authors' data with scipy alone (Butterworth 4, 100 Hz, both ways; one in ten).
REAL_DRIVE = {
    "lift.moving_mass_kg": 95.104,
    "lift.viscous_n_s_per_m": 203.131,
    "lift.friction_n": 20.438,
    "offset_n": -3.180,
}


def write_log(folder: Path, *, period_s: float = 1e-3, seconds: float = 12.0, shift_s: float = 0.0) -> Path:
    """A made-up drive of known mass and friction; one stamp in the middle is late by ``shift_s``."""
    t = np.arange(0.0, seconds, period_s)
    parts = [(0.10, 2.0), (0.03, 5.3)]
    place = np.sum([a * np.sin(w * t) for a, w in parts], axis=0)
    speed = np.sum([a * w * np.cos(w * t) for a, w in parts], axis=0)
    acceleration = np.sum([-a * w * w * np.sin(w * t) for a, w in parts], axis=0)
    force = MASS_KG * acceleration + VISCOUS * speed + COULOMB_N * np.sign(speed) + OFFSET_N
    stamps = t.copy()
    stamps[len(t) // 2] += shift_s
    rows = [f"{a:.6f},{b:.9f},{c:.6f}" for a, b, c in zip(stamps, place, force / FORCE_PER_VOLT, strict=True)]
    (folder / "map.toml").write_text(COLUMNS)
    file = folder / "drive.csv"
    file.write_text("t_s,x_m,u_v\n" + "\n".join(rows) + "\n")
    return file


def fitted(file: Path, capsys: pytest.CaptureFixture[str], force_per_volt: float) -> dict[str, object]:
    mapped = ["--columns", str(file.parent / "map.toml"), "--force-per-volt", repr(force_per_volt)]
    assert run(["fit", str(file), *mapped, "--json", "-"]) == 0
    document: dict[str, object] = json.loads(capsys.readouterr().out)
    return document


@pytest.mark.parametrize("period_s", [1e-3, 5e-3])
def test_known_numbers_come_back(tmp_path: Path, capsys: pytest.CaptureFixture[str], period_s: float) -> None:
    document = fitted(write_log(tmp_path, period_s=period_s, seconds=60.0), capsys, FORCE_PER_VOLT)
    values = {each["key"]: each["value"] for each in document["parameters"]}  # type: ignore[attr-defined]
    true = [MASS_KG, VISCOUS, COULOMB_N, OFFSET_N]
    np.testing.assert_allclose(list(values.values()), true, rtol=0.02)
    assert set(document) >= {"parameters", "fit_error_mm_rms", "rows_used", "lift_file"}
    assert document["lift_file"] is None
    assert document["period_ms"] == pytest.approx(period_s * 1e3)
    # smoothing below a tenth of the sampling rate, as for the real drive
    assert document["cutoff_hz"] == pytest.approx(0.1 / period_s)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--force-per-volt", "0"], "other than 0"),
        (["--force-per-volt", "nan"], "other than 0"),
        (["--force-per-volt", "2", "--out", "x.toml"], "writes no lift file"),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], words: str
) -> None:
    file = write_log(tmp_path)
    assert run(["fit", str(file), "--columns", str(tmp_path / "map.toml"), *more]) == 2
    assert words in capsys.readouterr().err


def test_uneven_stamps_are_refused_with_their_row(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_log(tmp_path, shift_s=4e-4)
    mapped = ["--columns", str(tmp_path / "map.toml"), "--force-per-volt", "2"]
    assert run(["fit", str(file), *mapped]) == 2
    said = capsys.readouterr().err
    assert "evenly sampled" in said
    assert "row 6000" in said


def test_a_drive_that_stands_tells_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_log(tmp_path)
    lines = file.read_text().splitlines()
    file.write_text("\n".join([lines[0], *(f"{i / 1000},0.1,0.5" for i in range(5000))]) + "\n")
    mapped = ["--columns", str(tmp_path / "map.toml"), "--force-per-volt", "2"]
    assert run(["fit", str(file), *mapped]) == 2
    assert "more motion" in capsys.readouterr().err


def test_grid_of_an_encoder_and_of_none() -> None:
    time = np.arange(4000) * 5e-3
    swing = np.asarray(300.0 * np.sin(time), dtype=np.float64)
    found = grid_of(np.floor(swing), time)
    assert found is not None
    assert found.step == pytest.approx(1.0)
    assert found.speed_step == pytest.approx(200.0)
    assert grid_of(swing, time) is None
    assert grid_of(np.zeros(50), time[:50]) is None


@needs_datasets
def test_the_real_drive_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from scipy.io import loadmat

    data = loadmat(DATASETS / "emps" / "DATA_EMPS.mat")
    columns = [data[name].ravel().tolist() for name in ("t", "qm", "vir")]
    rows = [f"{a!r},{b!r},{c!r}" for a, b, c in zip(*columns, strict=True)]
    (tmp_path / "map.toml").write_text(COLUMNS)
    file = tmp_path / "drive.csv"
    file.write_text("t_s,x_m,u_v\n" + "\n".join(rows) + "\n")
    document = fitted(file, capsys, float(data["gtau"].ravel()[0]))
    for each in document["parameters"]:  # type: ignore[attr-defined]
        assert each["value"] == pytest.approx(REAL_DRIVE[each["key"]], abs=5.1e-4), each["key"]
    assert document["condition_number"] == pytest.approx(25.9883, rel=1e-3)  # the authors' report
    # 12500 lines read four-fold over a lead of 2.5 mm, 1 kHz (the authors' report)
    assert document["encoder_step_mm"] == pytest.approx(5e-5, rel=1e-6)
    assert document["period_ms"] == 1.0


@needs_datasets
@pytest.mark.parametrize("name", ["encoders1.csv", "encoders2.csv"])
def test_the_gearmotor_logs_say_their_period_and_speed_step(name: str) -> None:
    summary = Summary.of(read_log(DATASETS / "dc_gearmotor_encoder" / name))
    part = log_part(summary)
    assert part["period_ms"]["median"] == 5.0
    assert part["speed_step"]["counts_s"] == pytest.approx(200.0)
    assert "a speed is a multiple of 200 counts/s" in log_text(summary)
