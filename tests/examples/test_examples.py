"""Every example does what it says: lift files pass, spoilt ones do not, programs and README commands run."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.liftfile import load_lift
from homing.requirements import judge
from homing.setting import prepare
from sensor_models.errors import InputError

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "examples").glob("**/*.toml"))
#: Runs for a verdict: 628 can show one failure in a hundred although two late loops met the trip.
RUNS = 700


def program(*arguments: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Run Python as a reader of the README would."""
    return subprocess.run([sys.executable, *arguments], cwd=cwd, capture_output=True, text=True, timeout=300)


def relative(file: Path) -> str:
    return str(file.relative_to(ROOT))


def test_there_are_examples_to_test() -> None:
    assert len(FILES) >= 4


@pytest.mark.parametrize("file", FILES, ids=relative)
def test_an_example_verifies(file: Path) -> None:
    done = program("-m", "homing", "verify", relative(file), "--quiet", "--runs", str(RUNS))
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout == f"{load_lift(file).name}: pass\n"
    assert done.stderr == ""


def short_of(file: Path, changes: dict[str, Any]) -> list[str]:
    """Names of the requirements that a changed example falls short of."""
    setting, numbers = prepare(load_lift(file).replace(changes)), np.arange(300)
    ensemble = as_ensemble(setting, numbers, run_many(setting, numbers))
    return [
        each.name for each in judge(setting.lift, nominal_ensemble(setting), ensemble) if each.failures > 3
    ]


#: What spoils each example, and a requirement that must then fall short.
SPOILT: list[tuple[str, dict[str, Any], str]] = [
    ("magnet", {"routine.fast_speed_mm_s": 400}, "overtravel_mm"),
    ("magnet", {"sensor.bottom.mount_mm": -20}, "impact_speed_mm_s"),
    ("infrared", {"routine.fast_speed_mm_s": 400}, "slack_mm"),
    ("infrared", {"sensor.bottom.mount_mm": 6}, "impact_speed_mm_s"),
    ("contact", {"routine.fast_speed_mm_s": 400}, "overtravel_mm"),
    ("contact", {"sensor.bottom.mount_mm": 10}, "impact_speed_mm_s"),
    ("contact", {"sensor.bottom.bounce_ms": 100}, "zero_error_mm"),
    ("horizontal", {"routine.fast_speed_mm_s": 400}, "overtravel_mm"),
    ("horizontal", {"sensor.bottom.noise_mv": 60}, "zero_error_mm"),
    ("horizontal", {"sensor.bottom.update_period_ms": 150}, "overtravel_mm"),
    ("horizontal", {"string.return_take_up_mm": 60, "string.return_slack_mm": 30}, "slack_mm"),
    ("compare_sensors", {"sensor.old_switch.mount_mm": 6}, "impact_speed_mm_s"),
    ("own_routine", {"routine.phase.down.speed_mm_s": -400}, "overtravel_mm"),
    ("own_routine", {"routine.row.6.when.moved_mm": 20}, "time_to_zero_s"),
]


def changed(value: object) -> str | None:
    if not isinstance(value, dict):
        return None
    return " ".join(f"{key.rpartition('.')[2]}={to}" for key, to in value.items())


@pytest.mark.parametrize(("name", "changes", "requirement"), SPOILT, ids=changed)
def test_a_spoilt_example_falls_short(name: str, changes: dict[str, Any], requirement: str) -> None:
    file = ROOT / "examples" / "shelving_robot" / f"{name}.toml"
    assert requirement in short_of(file, changes)


def test_every_lift_file_has_a_spoilt_variant() -> None:
    assert {file.stem for file in FILES} == {name for name, _, _ in SPOILT}


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("magnet", {"sensor.bottom.gap_mm": 60}),
        ("infrared", {"sensor.bottom.gap_mm": 12}),
        ("horizontal", {"sensor.bottom.threshold_v": 2.6}),
    ],
    ids=["magnet too far off", "card too far off", "threshold above the curve"],
)
def test_a_sensor_that_cannot_be_made_is_refused(name: str, changes: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="short by"):
        prepare(load_lift(ROOT / "examples" / "shelving_robot" / f"{name}.toml").replace(changes))


def test_a_spoilt_file_fails_on_the_command_line_with_one_sentence(tmp_path: Path) -> None:
    text = (ROOT / "examples" / "shelving_robot" / "magnet.toml").read_text(encoding="utf-8")
    fast = re.sub(r"fast_speed_mm_s = \d+", "fast_speed_mm_s = 450", text)
    assert fast != text
    (tmp_path / "fast.toml").write_text(fast, encoding="utf-8")
    done = program("-m", "homing", "verify", str(tmp_path / "fast.toml"), "--quiet", "--runs", "300")
    assert done.returncode == 1
    assert re.search(r": fail; \S.*\.\n$", done.stdout)


# ---------------------------------------------------------------- the README


@cache
def readme_commands() -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return [line.strip() for line in text.splitlines() if line.startswith("    ") and line.strip()]


def test_the_two_commands_stand_in_the_readme() -> None:
    first, second = [line for line in readme_commands() if line.startswith("python3 -m venv")][:2]
    assert first.endswith(".venv/bin/downstop verify")
    assert second.endswith(".venv/bin/pytest")
    assert '".[test]"' in second
    windows = [line for line in readme_commands() if line.startswith("py -3")]
    assert len(windows) == 2


def test_every_command_of_the_program_in_the_readme_exists() -> None:
    from homing.cli import COMMANDS

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"downstop ([a-z]+)\b", text))
    assert {"verify", "new", "replay"} <= named
    # words of running prose are no commands
    assert {word for word in named if f"`downstop {word}" in text or f"    downstop {word}" in text} <= set(
        COMMANDS
    )


def test_the_first_command_runs() -> None:
    done = program("-m", "homing", "verify", "--quiet")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.endswith(": pass\n")


def test_files_that_the_readme_names_are_there() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in set(re.findall(r"examples/[\w/]+(?:\.toml|\.py|/)", text)):
        assert (ROOT / name).exists(), name


# ---------------------------------------------------------------- the program


def test_the_sweep_prints_a_table_and_draws_a_figure(tmp_path: Path) -> None:
    script = "examples/sweep_approach_speed.py"
    done = program(script, "--runs", "60", "--out", str(tmp_path / "sweep"))
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    rows = [line.split() for line in done.stdout.splitlines() if re.match(r"\s+\d", line)]
    speeds, median = [float(row[0]) for row in rows], [float(row[1]) for row in rows]
    assert len(rows) >= 5
    assert speeds == sorted(speeds)
    assert median[-1] > 3.0 * median[0]  # faster goes further past
    assert re.search(r"(Up to \d+ mm/s,|At none of these speeds do) 99 of 100 runs stay", done.stdout)
    png, svg = (tmp_path / "sweep" / f"overtravel_over_speed.{form}" for form in ("png", "svg"))
    assert png.read_bytes().startswith(b"\x89PNG")
    assert png.stat().st_size > 10_000
    assert ElementTree.parse(svg).getroot().tag.endswith("svg")


def test_a_sweep_of_no_runs_is_refused() -> None:
    done = program("examples/sweep_approach_speed.py", "--runs", "0")
    assert done.returncode == 2
    assert "--runs must be at least 1" in done.stderr


@pytest.mark.parametrize("script", sorted((ROOT / "examples").glob("*.py")), ids=relative)
def test_a_program_says_what_it_covers_and_for_whom(script: Path) -> None:
    head = script.read_text(encoding="utf-8").split('"""')[1]
    assert re.search(r"^Covers: \S", head, re.MULTILINE)
    assert re.search(r"^Scenario: \S", head, re.MULTILINE)
    for line in script.read_text(encoding="utf-8").splitlines():
        if re.match(r"[A-Z_]+ = ", line):
            assert "  # " in line, f"{line}: a constant says its meaning and unit"
