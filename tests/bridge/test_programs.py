"""The example programs in three languages: the sound version holds, each flawed one is found."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from homing import load_lift
from homing.bridge.controller import Program
from homing.bridge.player import ProgramPlayer
from homing.requirements import judge
from homing.results import RequirementResult
from homing.setting import Setting, prepare

FOLDER = Path(__file__).parents[2] / "examples" / "programs"
#: Runs that show 1 % without a failure, and runs in which a flaw shows itself.
ENOUGH, FEW = 299, 42
#: What each flaw breaks (trade notes on logical errors: common practice, no source).
FLAWS = {
    "overwritten": {"overtravel_mm", "slack_mm", "time_to_zero_s"},
    "edge-start": {"overtravel_mm", "slack_mm", "time_to_zero_s"},
    "zero-moving": {"zero_error_mm"},
    "both-blocked": {"time_to_zero_s"},
}


@pytest.fixture(scope="module")
def setting() -> Setting:
    return prepare(load_lift(None))


@pytest.fixture(scope="module")
def commands(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Command lines of the programs whose language is there."""
    place = tmp_path_factory.mktemp("programs")
    found = {"python": f'"{sys.executable}" "{FOLDER / "lift_routine.py"}"'}
    if shutil.which("g++"):
        _made("g++", "-std=c++17", "-O2", "-Wall", "-Wextra", "-Werror", "-o", place / "lift_routine",
              FOLDER / "lift_routine.cpp")  # fmt: skip
        found["cpp"] = f'"{place / "lift_routine"}"'
    if shutil.which("javac"):
        _made("javac", "-Xlint:all", "-Werror", "-d", place, FOLDER / "LiftRoutine.java")
        found["java"] = f'java -cp "{place}" LiftRoutine'
    return found


def _made(*command: str | Path) -> None:
    subprocess.run([str(word) for word in command], check=True, capture_output=True, timeout=120)


def results_of(setting: Setting, command: str, runs: int) -> dict[str, RequirementResult]:
    player = ProgramPlayer(setting, Program(command), workers=1)
    _, alone = player.nominal()
    return {each.name: each for each in judge(setting.lift, alone, player.many(np.arange(runs)))}


@pytest.mark.slow
@pytest.mark.parametrize("language", ["python", "cpp", "java"])
def test_the_sound_version_holds(language: str, setting: Setting, commands: dict[str, str]) -> None:
    if language not in commands:
        pytest.skip(f"no compiler for {language} on this machine")
    results = results_of(setting, commands[language], ENOUGH)
    assert {name: each.why for name, each in results.items() if not each.passed} == {}


@pytest.mark.slow
@pytest.mark.parametrize("flaw", FLAWS)
@pytest.mark.parametrize("language", ["python", "cpp", "java"])
def test_each_flaw_is_found(language: str, flaw: str, setting: Setting, commands: dict[str, str]) -> None:
    if language not in commands:
        pytest.skip(f"no compiler for {language} on this machine")
    results = results_of(setting, f"{commands[language]} {flaw}", FEW)
    broken = {name for name, each in results.items() if each.failures}
    assert FLAWS[flaw] <= broken
    if flaw == "zero-moving":
        assert broken == FLAWS[flaw]


@pytest.mark.slow
def test_all_languages_decide_alike(setting: Setting, commands: dict[str, str]) -> None:
    rows = [
        ProgramPlayer(setting, Program(command), workers=1).many(np.arange(20)).metrics["overtravel_mm"]
        for command in commands.values()
    ]
    for other in rows[1:]:
        np.testing.assert_array_equal(other, rows[0])
