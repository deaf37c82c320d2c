"""The study itself is ended in mid-run: by a person at the keyboard, or by the system without a word."""

from __future__ import annotations

import os
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")

PLAYS = """
import json, sys
for line in sys.stdin:
    if "reset" not in json.loads(line):
        print('{"stop": "hold"}', flush=True)
"""
STUDY = "import sys; from homing.cli import run; sys.exit(run(sys.argv[1:]))"
#: Time for compiling, starting and ending, generous on a busy machine [s].
PATIENCE_S = 60.0


def running(mark: str) -> list[int]:
    """Processes with this in their command line, the study left out."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = entry.read_bytes().split(b"\0")
        except OSError:
            continue
        if len(words) > 1 and words[1].decode(errors="replace") == mark:
            found.append(int(entry.parent.name))
    return found


def wait_until(met: Callable[[], bool], what: str) -> None:
    until = time.monotonic() + PATIENCE_S
    while not met():
        assert time.monotonic() < until, f"waited in vain for {what}"
        time.sleep(0.05)


@pytest.mark.parametrize(
    ("how", "code"), [(signal.SIGINT, 130), (signal.SIGKILL, -9)], ids=["by hand", "by the system"]
)
def test_no_copy_of_the_program_outlives_the_study(tmp_path: Path, how: signal.Signals, code: int) -> None:
    program = tmp_path / "program.py"
    program.write_text(PLAYS)
    command, out = shlex.join([sys.executable, str(program)]), tmp_path / "out"
    options = ["--runs", "100000", "--workers", "2", "--quiet", "--out", str(out)]
    with subprocess.Popen(
        [sys.executable, "-c", STUDY, "verify", "--program", command, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ,
    ) as study:
        wait_until(lambda: len(running(str(program))) >= 2, "the program to start")
        time.sleep(0.5)
        study.send_signal(how)
        _, told = study.communicate(timeout=PATIENCE_S)
    assert study.returncode == code
    assert "Traceback" not in told
    wait_until(lambda: not running(str(program)), "the program to end")
    # nobody is left to take an empty folder away again, but nothing half written is in it
    assert not list(out.rglob("*")) if how == signal.SIGKILL else not out.exists()
