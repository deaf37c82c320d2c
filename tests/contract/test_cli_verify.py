"""``downstop verify`` as other people's scripts see it: verdict, exit code, JSON, files."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from homing.cli import run
from homing.liftfile import load_lift

#: The fewest runs that can decide a rate of 0.01 with 95 % (NIST, zero failures: 299).
RUNS = ["--runs", "300"]
#: A lift that cannot stop in the room it has.
SPOILED = {"fast_speed_mm_s = 180": "fast_speed_mm_s = 600"}


@pytest.fixture
def spoiled(tmp_path: Path) -> Path:
    from importlib.resources import files

    text = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    for old, new in SPOILED.items():
        assert old in text
        text = text.replace(old, new)
    file = tmp_path / "spoiled.toml"
    file.write_text(text)
    return file


def test_the_built_in_example_passes(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", *RUNS, "--quiet"]) == 0
    out, err = capsys.readouterr()
    assert out == "Shelving robot mast: pass\n"
    assert err == ""


def test_a_spoiled_one_fails_and_says_what_to_change(
    spoiled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(spoiled), *RUNS, "--quiet"]) == 1
    assert capsys.readouterr().out.startswith("Shelving robot mast: fail; ")


def test_json_on_standard_output_stands_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", *RUNS, "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["command"] == "verify"
    assert document["verdict"] == "pass"
    assert document["runs"] == 300
    assert {each["key"] for each in document["assumed"]} == {each.key for each in load_lift().assumed}


def test_the_same_seed_gives_the_same_bytes_for_any_workers(capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for workers in ("1", "2"):
        run(["verify", *RUNS, "--seed", "7", "--json", "-", "--workers", workers])
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]


def test_files_are_written_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result, trace, folder = tmp_path / "v.json", tmp_path / "t.csv", tmp_path / "deep" / "report"
    code = run(["verify", *RUNS, "--json", str(result), "--trace", str(trace), "--out", str(folder)])
    assert code == 0
    assert json.loads(result.read_text())["verdict"] == "pass"
    header = (
        "t_s,state,command_fraction,counts,spool_mm,carriage_mm,carriage_mm_s,sensor_bottom,reading_bottom,"
    )
    header += "current_a,battery_v,string_n,return_string_n,stop_n"
    assert trace.read_text().splitlines()[0] == header
    assert list(folder.glob("*.html"))
    assert "report: " in capsys.readouterr().err
    assert not [file for file in tmp_path.rglob("*") if file.name.startswith(".")]


def test_a_run_is_reproduced_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = tmp_path / "run.json"
    assert run(["verify", "--run", "5", "--json", str(result), "--trace", str(tmp_path / "run.parquet")]) == 0
    document = json.loads(result.read_text())
    assert document["run"] == 5
    assert document["outcome"] == "zeroed"
    assert (tmp_path / "run.parquet").exists()
    assert capsys.readouterr().out


def test_a_log_gives_the_loop_s_periods(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "log.csv"
    rows = [f"{20 * row + 90 * (row // 50)},{row}" for row in range(400)]
    log.write_text("\n".join(["time_ms,counts", *rows]) + "\n")
    assert run(["verify", "--run", "5", "--timing-from", str(log), "--json", "-"]) in (0, 1)
    with_log = json.loads(capsys.readouterr().out)
    run(["verify", "--run", "5", "--json", "-"])
    assert with_log["stop_distance_mm"] != json.loads(capsys.readouterr().out)["stop_distance_mm"]


def test_the_one_time_compilation_is_announced(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("homing.progress.cache_is_cold", lambda: True)
    run(["verify", "--run", "5"])
    assert capsys.readouterr().err == "compiling once, up to half a minute ...\n"
    run(["verify", "--run", "5", "--quiet"])
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(os.environ.get("NUMBA_DISABLE_JIT") == "1", reason="nothing is compiled")
def test_what_is_compiled_is_not_announced_again(capsys: pytest.CaptureFixture[str]) -> None:
    run(["verify", "--run", "5"])
    capsys.readouterr()
    run(["verify", "--run", "5"])
    assert capsys.readouterr().err == ""


def test_a_magnet_that_is_never_seen_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], spoiled: Path
) -> None:
    far = tmp_path / "far.toml"
    far.write_text(
        spoiled.read_text().replace("gap_mm = 3\n", "gap_mm = 40\n").replace("gap_mm  = 3", "gap_mm = 40")
    )
    folder = tmp_path / "report"
    assert run(["verify", str(far), "--out", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "short by" in err
    assert not folder.exists()
