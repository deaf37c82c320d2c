"""A program that does not play along is told in one sentence, and nothing that it started is left."""

from __future__ import annotations

import os
import shlex
import signal
import sys
import time
from pathlib import Path

import pytest

from homing.bridge import child
from homing.bridge.child import Child
from homing.cli import run
from sensor_models.errors import InputError

#: Answers every loop, and nothing to a reset.
PLAYS = """
import sys
for line in sys.stdin:
    if "reset" not in line:
        print('{"stop": "hold"}', flush=True)
"""
STUBBORN = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); time.sleep(60)"
SLEEPER = "[sys.executable, '-c', 'import time; time.sleep(60)']"
FORKS = f"import subprocess, sys; subprocess.Popen({SLEEPER})\n{PLAYS}"
LOUD = f"import sys; sys.stderr.write('x' * 1_000_000); sys.stderr.flush()\n{PLAYS}"

TROUBLE = {
    "ends at once": ("import sys; sys.exit(3)", "ended with code 3"),
    "never answers": (STUBBORN, "must answer within"),
    "writes without end": ("print('x' * 50_000, end='', flush=True); input(); input()", "lines of at most"),
    "is killed": ("import os; input(); os.kill(os.getpid(), 9)", "SIGKILL"),
    "closes its output": ("import os, time; os.close(1); time.sleep(60)", "closed its output"),
}


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(child, "ANSWER_S", 1.0)
    monkeypatch.setattr(child, "FIRST_ANSWER_S", 3.0)
    monkeypatch.setattr(child, "LEAVE_S", 0.2)


def command(folder: Path, text: str) -> str:
    file = folder / "program.py"
    file.write_text(text)
    return shlex.join([sys.executable, str(file)])


def ask(one: Child) -> bytes:
    one.tell(b"{}\n")
    return one.answer()


def rest_for_a_while(one: Child) -> None:
    for _ in range(500):
        one.rest()
        time.sleep(0.02)


def in_group(group: int) -> list[int]:
    """Living processes of a group; one that has ended and waits to be collected is none."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, of = stat.read_text().rpartition(")")[2].split()[:3]
        except (OSError, ValueError):
            continue
        if int(of) == group and state != "Z":
            found.append(int(stat.parent.name))
    return found


def gone(group: int) -> bool:
    until = time.monotonic() + 5.0
    while in_group(group) and time.monotonic() < until:
        time.sleep(0.02)
    return not in_group(group)


@pytest.mark.parametrize("what", TROUBLE)
def test_trouble_is_told_and_nothing_is_left(tmp_path: Path, what: str) -> None:
    text, said = TROUBLE[what]
    one = Child(command(tmp_path, text))
    try:
        with pytest.raises(InputError, match=said):
            ask(one)
    finally:
        one.close()
    assert gone(one._process.pid)


@pytest.mark.parametrize("text", [PLAYS, FORKS, LOUD], ids=["plays", "forks", "writes a lot of errors"])
def test_a_program_that_answers_is_heard_and_ended_with_all_it_started(tmp_path: Path, text: str) -> None:
    one = Child(command(tmp_path, text))
    group = one._process.pid
    one.tell(b'{"reset": 1}\n')
    for _ in range(3):
        one.tell(b"{}\n")
        assert one.answer() == b'{"stop": "hold"}'
    assert in_group(group)
    one.close()
    assert gone(group)


def test_a_line_that_nobody_asked_for_is_refused(tmp_path: Path) -> None:
    one = Child(command(tmp_path, "for k in range(3): input(); print('{}\\n{}', flush=True)"))
    try:
        one.tell(b"{}\n")
        one.answer()
        with pytest.raises(InputError, match="one line for one loop"):
            one.tell(b"{}\n")
    finally:
        one.close()


def test_a_line_too_many_that_comes_late_is_refused_when_the_run_ends(tmp_path: Path) -> None:
    mark = tmp_path / "say one more"
    answers = "for k in range(3): input(); print('{}', flush=True)"
    one_more = (
        f"while not os.path.exists({str(mark)!r}): time.sleep(0.01)\nprint('{{}}', flush=True); input()"
    )
    one = Child(command(tmp_path, f"import os, time\n{answers}\n{one_more}"))
    try:
        for _ in range(3):
            assert ask(one) == b"{}"
        one.rest()
        mark.touch()
        with pytest.raises(InputError, match="one line for one loop"):
            rest_for_a_while(one)
    finally:
        one.close()


def test_nothing_in_a_command_line_is_interpreted(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    one = Child(f"{command(tmp_path, PLAYS)} ; touch {mark} $(touch {mark}) | cat > {mark}")
    one.tell(b"{}\n")
    assert one.answer() == b'{"stop": "hold"}'
    one.close()
    assert not mark.exists()


@pytest.mark.parametrize("words", ["/no/such/program", "/etc/hostname", "'unclosed", ""])
def test_what_cannot_be_started_leaves_no_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: str
) -> None:
    wanted = tmp_path / "verdict.json"
    assert run(["verify", "--program", words, "--runs", "2", "--json", str(wanted), "--quiet"]) == 2
    told = capsys.readouterr().err
    assert "--program" in told
    assert "Traceback" not in told
    assert not wanted.exists()


def test_a_program_killed_in_mid_run_ends_the_study_with_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mortal = "import os, sys\nfor k, line in enumerate(sys.stdin):\n    if k == 40: os.kill(os.getpid(), 9)\n"
    text = command(tmp_path, mortal + '    if k: print(\'{"stop": "hold"}\', flush=True)\n')
    wanted = tmp_path / "verdict.json"
    assert run(["verify", "--program", text, "--runs", "2", "--json", str(wanted), "--quiet"]) == 2
    told = capsys.readouterr().err
    assert signal.Signals(signal.SIGKILL).name in told
    assert len(told.strip().splitlines()) == 1
    assert not wanted.exists()
    assert os.listdir(tmp_path) == ["program.py"]
