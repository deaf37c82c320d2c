"""Exported programs compiled and driven from outside: inputs in as lines, outputs back as lines.

The drivers live here, never in what is exported. A line ``R k time counts zero`` begins routine k anew
(zero ``-``: unknown), ``S time reading counts start`` is one step.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from export_drivers import CPP, CPP_ONE, CPP_TEXTS, JAVA, JAVA_ONE, PYTHON

from homing.export import Form, exported_setting
from homing.export.identifiers import KEYWORDS
from homing.setting import Setting

#: Columns that a driver prints for a step.
COLUMNS = ("phase", "order", "command", "zero_known", "zero_counts", "height_mm", "reason")
#: So many programs at once are compiled without optimisation.
MANY = 20
PROGRAMS = (Form.JAVA, Form.CPP, Form.PYTHON)


@dataclass(frozen=True)
class Driven:
    """Compiled programs of some settings, ready to be driven together."""

    command: tuple[str, ...]
    folder: Path
    count: int

    def drive(self, lines: Sequence[str]) -> list[str]:
        """Lines that come back for these lines."""
        done = subprocess.run(
            self.command, input="\n".join(lines) + "\n", capture_output=True, text=True, cwd=self.folder
        )
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        return done.stdout.splitlines()

    def live(self) -> subprocess.Popen[str]:
        """The program as a process that answers every line at once."""
        return subprocess.Popen(
            [*self.command, "live"], cwd=self.folder, text=True, bufsize=1,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip


def compiled(form: Form, settings: Sequence[Setting], folder: Path) -> Driven:
    """Export the routine of each setting, compile all of them without a warning, and build a driver."""
    skip_without_compiler(form)
    names = [f"Routine{k}" if form is Form.JAVA else f"routine_{k}" for k in range(len(settings))]
    for name, setting in zip(names, settings, strict=True):
        (folder / f"{name}{form.suffixes[0]}").write_text(exported_setting(setting, form, name), "ascii")
    return {Form.JAVA: _java, Form.CPP: _cpp, Form.PYTHON: _python}[form](names, settings, folder)


def skip_without_compiler(form: Form) -> None:
    """Skip with a plain reason where the language's compiler is missing."""
    tool = {Form.JAVA: "javac", Form.CPP: "g++"}.get(form)
    if tool is not None and shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed: the exported {form.value} program cannot be compiled here")


def _java(names: list[str], settings: Sequence[Setting], folder: Path) -> Driven:
    sources = [f"{name}.java" for name in names]
    # what is exported must be clean by itself, for the oldest Java that is promised
    _run(["javac", "--release", "11", "-Xlint:all", "-Werror", "-d", ".", *sources], folder)
    each = "".join(JAVA_ONE % {"name": name} for name in names)
    inside = {"each": each, "all": ", ".join(f"new Drive{name}()" for name in names)}
    (folder / "Driver.java").write_text(JAVA % inside)
    _run(["javac", "-cp", ".", "-d", ".", "Driver.java"], folder)
    java = ("java", "-XX:+UseSerialGC", "-XX:TieredStopAtLevel=1", "-cp", ".", "Driver")
    return Driven(java, folder, len(names))


def _cpp(names: list[str], settings: Sequence[Setting], folder: Path) -> Driven:
    from homing.export.program import program

    programs = [program(setting) for setting in settings]
    one = [
        CPP_ONE % {"name": name, "phases": len(made.phases), "reasons": len(made.reasons)}
        for name, made in zip(names, programs, strict=True)
    ]
    inside = {
        "includes": "\n".join(f'#include "{name}.hpp"' for name in names),
        "texts": "".join(CPP_TEXTS % {"name": name} for name in names),
        "all": ", ".join(one),
    }
    (folder / "driver.cpp").write_text(CPP % inside)
    warnings = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Werror"]
    bare = ["-fno-exceptions", "-fno-rtti"]
    # each header alone, as a robot's program includes it
    for name in names[:3]:
        _run(["g++", "-std=c++17", *warnings, *bare, "-fsyntax-only", "-include", f"{name}.hpp", "-x", "c++",
              "/dev/null"], folder)  # fmt: skip
    # a few programs with all that a compiler may do, fused multiplication included; many without, for time
    effort = ["-O2", "-march=native", "-ffp-contract=fast"] if len(names) < MANY else ["-O0"]
    _run(["g++", "-std=c++17", *effort, *warnings, "driver.cpp", "-o", "driver"], folder)
    return Driven((str(folder / "driver"),), folder, len(names))


def _python(names: list[str], settings: Sequence[Setting], folder: Path) -> Driven:
    sources = [f"{name}.py" for name in names]
    _run([sys.executable, "-W", "error", "-m", "py_compile", *sources], folder)
    (folder / "driver.py").write_text(PYTHON % {"names": names})
    return Driven((sys.executable, "-W", "error", "driver.py"), folder, len(names))


def _run(command: list[str], folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"


def numbers(lines: Sequence[str]) -> np.ndarray:
    """Steps that came back, (n, columns)."""
    return np.array([line.split() for line in lines], dtype=np.float64).reshape(-1, len(COLUMNS))


@cache
def keyword_names() -> tuple[str, ...]:
    """Names that no language accepts as they stand."""
    return tuple(sorted(KEYWORDS))
