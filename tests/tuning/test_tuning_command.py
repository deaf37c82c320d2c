"""``downstop tune`` as other people's scripts see it: verdict, exit code, files, and Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from tuningcases import BAD, HOPELESS, example_text

from homing.cli import run
from homing.liftfile import load_lift
from homing.progress import Progress

SHORT = ["--evaluations", "9", "--runs", "300"]


@pytest.fixture
def bad(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "bad.toml"
    file.write_text(example_text(BAD))
    return file


@pytest.mark.usefixtures("short")
def test_it_writes_a_new_file_and_leaves_the_old_one(bad: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = bad.read_bytes()
    code = run(["tune", "bad.toml", *SHORT, "--json", "t.json"])
    told = json.loads(Path("t.json").read_text())
    assert code == 0
    assert bad.read_bytes() == before
    assert told["new_lift_file"] == "bad.tuned.toml"
    tuned = load_lift("bad.tuned.toml")
    assert tuned.routine.fast_speed_mm_s == told["settings"]["fast_speed_mm_s"] < 600
    out, err = capsys.readouterr()
    assert out.startswith("FOUND")
    assert "Ctrl-C" in err
    assert not [file for file in os.listdir() if file.startswith(".")]
    assert run(["verify", "bad.tuned.toml", "--runs", "598", "--seed", "1", "--quiet"]) == 0


@pytest.mark.usefixtures("short")
def test_the_report_folder_takes_the_new_file(bad: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["tune", "--lift", "bad.toml", *SHORT, "--out", "deep/report", "--quiet"]) == 0
    assert Path("deep/report/bad.tuned.toml").exists()
    assert Path("deep/report/index.html").exists()
    out, err = capsys.readouterr()
    assert out.startswith("Shelving robot mast: These settings hold all")
    assert out.endswith("bad.tuned.toml\n")
    assert err.startswith("report: ")


@pytest.mark.usefixtures("short")
def test_json_on_standard_output_stands_alone(bad: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("none.toml").write_text(example_text(HOPELESS))
    assert run(["tune", "none.toml", *SHORT, "--json", "-"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["command"] == "tune"
    assert told["verdict"] == "fail"
    assert told["new_lift_file"] is None
    assert sorted(os.listdir()) == ["bad.toml", "none.toml"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["bad.toml", "--new", "bad.toml"], "not overwritten"),
        (["bad.toml", "--new", "other.txt"], "must end in .toml"),
        (["bad.toml", "--lift", "bad.toml"], "must be given once"),
        (["bad.toml", "--json", "nowhere/t.json"], "--json"),
        (["missing.toml"], "no such file"),
        (["bad.toml", "--seconds", "0"], "--seconds"),
        (["inline.toml"], "lines of their own"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_searched(
    bad: Path, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    def never(*_: object, **__: object) -> None:
        raise AssertionError("it was searched")

    monkeypatch.setattr("homing.tuning.study.tune", never)
    head, _, rest = example_text().partition("[routine]")
    Path("inline.toml").write_text(
        f"routine = {{ fast_speed_mm_s = 200 }}\n{head}{rest[rest.index('[req') :]}"
    )
    before = sorted(os.listdir())
    assert run(["tune", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in err
    assert sorted(os.listdir()) == before


@pytest.mark.usefixtures("short")
def test_interrupted_it_still_answers(
    bad: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    searched = []

    def press(self: Progress, what: str, done: int, total: int) -> None:
        searched.append(what)
        if searched == ["searching (seconds)"] * 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(Progress, "__call__", press)
    code = run(["tune", "bad.toml", "--seconds", "3600", "--runs", "300", "--json", "t.json"])
    told = json.loads(Path("t.json").read_text())
    assert told["stopped"] == "interrupted"
    assert code == (0 if told["verdict"] == "pass" else 1)
    assert told["after"]["runs"] >= 300


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be sent Ctrl-C there in the same way")
def test_a_real_interrupt_ends_the_search_early(bad: Path) -> None:
    command = [sys.executable, "-m", "homing", "tune", "bad.toml", "--seconds", "3600", "--json", "t.json"]
    process = subprocess.Popen([*command, "--quiet", "--runs", "300"])
    try:
        for _ in range(600):
            time.sleep(0.5)
            process.send_signal(signal.SIGINT)
            # before the first round there is nothing to answer with: then it ends at once
            if process.poll() is not None or Path("t.json").exists():
                break
            time.sleep(20)
        assert process.wait(300) in (0, 1, 130)
    finally:
        process.kill()
