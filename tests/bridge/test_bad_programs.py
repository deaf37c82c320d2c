"""Programs that do not behave: one sentence, exit code 2, nothing left running, nothing half written."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest

from homing.bridge import child
from homing.bridge.child import Child, arguments
from homing.cli import run

LOOP = """
import sys, json, os, time
for number, line in enumerate(sys.stdin):
    if "reset" in json.loads(line):
        continue
    {act}
"""
FINE = 'print(\'{"stop": "hold"}\', flush=True)'

BAD: dict[str, tuple[str, str]] = {
    "garbage": ("print('hello', flush=True)", "must be one line of JSON"),
    "no object": ("print('[1, 2]', flush=True)", "must be a JSON object"),
    "not a number": ("print('{\"command\": NaN}', flush=True)", "answer.command must be a finite number"),
    "too large": ("print('{\"command\": 1e400}', flush=True)", "answer.command must be a finite number"),
    "a number as text": ('print(\'{"command": "3"}\', flush=True)', "must be a finite number; got '3'"),
    "nothing said": ("print('{}', flush=True)", "answer.command must be given when stop is null"),
    "unknown stop": ('print(\'{"stop": "brake"}\', flush=True)', 'answer.stop must be "hold"'),
    "unknown key": (
        'print(\'{"stop": "hold", "zero_at_count": 3}\', flush=True)',
        'has a key that is not known (did you mean "zero_at_counts"?)',
    ),
    "ends in mid-run": (f"{FINE}; number > 20 and sys.exit(3)", "ended with code 3"),
    "is killed": (f"{FINE}; number > 20 and os.kill(os.getpid(), 9)", "was ended by signal SIGKILL"),
    "says why it ends": ("sys.exit('the motor is missing')", "it said: the motor is missing"),
    "never answers": ("time.sleep(60)", "must answer within 0.5 s"),
    "answers twice": (f"{FINE}; {FINE}", "must answer one line for one loop"),
    "never ends a line": (
        "sys.stdout.write('x' * 40000); sys.stdout.flush(); time.sleep(60)",
        "at most 10000",
    ),
    "binary": ("sys.stdout.buffer.write(bytes(range(256))); print(flush=True)", "must be one line of JSON"),
}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(child, "FIRST_ANSWER_S", 5.0)
    monkeypatch.setattr(child, "ANSWER_S", 0.5)


def written(place: Path, act: str) -> str:
    file = place / "program.py"
    file.write_text(LOOP.format(act=act))
    return f'"{sys.executable}" "{file}"'


def still_running(mark: str) -> list[str]:
    found = []
    for process in Path("/proc").iterdir():
        if process.name.isdigit() and process.name != str(os.getpid()):
            try:
                line = (process / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
            except OSError:
                continue
            if mark in line:
                found.append(line)
    return found


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes under /proc")
@pytest.mark.parametrize("name", BAD)
def test_it_is_one_sentence_and_nothing_is_left(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    act, sentence = BAD[name]
    if name == "never answers":
        monkeypatch.setattr(child, "FIRST_ANSWER_S", 0.5)
    out = tmp_path / "report"
    command = written(tmp_path, act)
    arguments_given = ["verify", "--program", command, "--runs", "4", "--workers", "1", "--quiet"]
    assert run([*arguments_given, "--out", str(out), "--json", str(tmp_path / "found.json")]) == 2
    told = capsys.readouterr()
    assert sentence in told.err
    assert told.err.count("\n") == 1
    assert "Traceback" not in told.err
    assert still_running(str(tmp_path)) == []
    assert not out.exists()
    assert not (tmp_path / "found.json").exists()


def test_what_it_forks_is_ended_with_it(tmp_path: Path) -> None:
    act = "os.fork() == 0 and time.sleep(300); " + FINE
    seat = Child(written(tmp_path, act))
    seat.tell(b'{"t_s": 0}\n')
    seat.answer()
    assert still_running(str(tmp_path))
    seat.close()
    until = time.monotonic() + 5.0
    while still_running(str(tmp_path)) and time.monotonic() < until:
        time.sleep(0.05)
    assert still_running(str(tmp_path)) == []


def test_much_on_standard_error_blocks_nothing(tmp_path: Path) -> None:
    seat = Child(written(tmp_path, "sys.stderr.write('x' * 300000); " + FINE))
    for _ in range(3):
        seat.tell(b'{"t_s": 0}\n')
        assert seat.answer() == b'{"stop": "hold"}'
    seat.close()


def test_no_shell_reads_the_command_line(tmp_path: Path) -> None:
    assert arguments('prog "a b" $(touch x) ; rm -r "c;d" `e`') == [
        "prog", "a b", "$(touch", "x)", ";", "rm", "-r", "c;d", "`e`",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("command", "sentence"),
    [
        ("", "must name a program"),
        ("'open quote", "must be a command line"),
        ("no-such-program-here --x", "cannot be started: No such file or directory"),
        (str(Path(__file__).parent), "cannot be started: Permission denied"),
    ],
)
def test_what_cannot_be_started_is_said(
    command: str, sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", "--program", command, "--runs", "4", "--quiet"]) == 2
    assert sentence in capsys.readouterr().err
