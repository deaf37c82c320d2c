"""The program: its commands, its exit codes, and what it says when something cannot be used."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from homing.cli import COMMANDS, run

EVERY_INPUT_ERROR = 2


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Run, expect exit code 2 and one plain sentence on standard error, and return it."""
    assert run(arguments) == EVERY_INPUT_ERROR
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith("downstop: ")
    assert "Traceback" not in err
    return err


def in_process(code: str) -> str:
    """Run code in a fresh interpreter and return what it prints."""
    return subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout


def test_help_lists_the_commands_that_exist(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--help"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert [line.split()[0] for line in out.partition("Commands:\n")[2].splitlines() if line[2] != " "] == [
        "verify",
        "compare",
        "tune",
        "replay",
        "fit",
        "review",
        "export",
        "new",
    ]


def test_help_loads_no_command_and_nothing_heavy() -> None:
    heavy = "numpy scipy numba matplotlib polars rich pydantic jinja2 transitions homing.commands replay"
    loaded = f"print([name for name in '{heavy}'.split() if name in sys.modules])"
    code = f"import sys\nfrom homing.cli import run\nrun(['--help'])\n{loaded}"
    assert in_process(code).splitlines()[-1] == "[]"


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([name, "--help"]) == 0
    assert f"Usage: downstop {name}" in capsys.readouterr().out


def test_homing_does_not_load_replay_to_verify() -> None:
    assert (
        in_process("import sys, homing.cli, homing.commands\nprint('replay' in sys.modules)").strip()
        == "False"
    )


def test_the_contract_s_options_of_verify_exist(capsys: pytest.CaptureFixture[str]) -> None:
    run(["verify", "--help"])
    said = capsys.readouterr().out
    options = "--lift --json --out --open --seed --workers --quiet --help --runs --run --trace --timing-from"
    assert [option for option in options.split() if option not in said] == []


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("downstop, version ")


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([]) == EVERY_INPUT_ERROR
    assert "Commands:" in capsys.readouterr().err


def test_the_module_is_the_same_program() -> None:
    shown = subprocess.run(
        [sys.executable, "-m", "homing", "--version"], capture_output=True, text=True, check=True
    )
    assert shown.stdout.startswith("downstop, version ")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["verfy"], '"verfy" is not a command; did you mean "verify"?'),
        (
            ["bake"],
            '"bake" is not a command; accepted are verify, compare, tune, replay, fit, review, export, new',
        ),
        (["verify", "--rusn", "5"], "No such option"),
        (["verify", "--runs", "many"], "'many' is not a valid integer"),
        (["verify", "--runs", "0"], "is not in the range"),
        (["verify", "--seed", "-1"], "is not in the range"),
        (["verify", "--workers", "0"], "is not in the range"),
        (["verify", "a.toml", "b.toml"], "unexpected extra argument"),
        (["verify", "none.toml"], "none.toml: no such file"),
        (["verify", "--lift", "none.toml"], "none.toml: no such file"),
        (["verify", "a.toml", "--lift", "b.toml"], "must be given once"),
        (["verify", "--run", "3", "--out", "folder"], "--out must be left out with --run"),
        (["verify", "--json", "none/at/all.json"], "--json must be a file that can be written"),
        (["verify", "--json", "."], "--json must be a file; this is a folder"),
        (["verify", "--trace", "trace.txt"], "--trace must end in .csv or .parquet"),
        (["verify", "--timing-from", "none.csv"], "none.csv"),
        (["new"], "FILE must be given"),
        (["new", "lift.txt"], "FILE must end in .toml"),
        (["new", "none/lift.toml"], "FILE must be a file that can be written"),
    ],
)
def test_what_cannot_be_used(
    arguments: list[str],
    said: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert said in refused(capsys, *arguments)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("here already")
    assert "--out must be a folder that can be written to" in refused(
        capsys, "verify", "--out", str(file / "report")
    )
    assert file.read_text() == "here already"


def test_a_bad_lift_file_names_file_and_key(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "lift.toml"
    file.write_text("[lift]\ntravl_mm = 3\n")
    said = refused(capsys, "verify", str(file), "--out", str(tmp_path / "report"))
    assert f'{file}, lift.travl_mm is not a known key (did you mean "travel_mm"?)' in said
    assert not (tmp_path / "report").exists()


@pytest.mark.parametrize("error", [KeyboardInterrupt, BrokenPipeError])
def test_leaving_early(
    error: type[BaseException],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    def leave(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr("homing.commands._whole", leave)
    if error is BrokenPipeError:
        monkeypatch.setattr("homing.cli._reader_left", lambda: 141)
    folder = tmp_path / "a" / "report"
    assert run(["verify", "--out", str(folder)]) == (130 if error is KeyboardInterrupt else 141)
    out, err = capsys.readouterr()
    assert out == ""
    assert err.strip() == ("downstop: interrupted" if error is KeyboardInterrupt else "")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", ["new --log-columns", "verify --run 5"], ids=["plain", "tables"])
def test_a_reader_that_leaves_is_no_error(words: str) -> None:
    program = subprocess.Popen(
        [sys.executable, "-c", "from homing.cli import main; main()", *words.split()],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert program.stdout is not None
    assert program.stderr is not None
    program.stdout.close()
    assert program.stderr.read() == b""
    program.stderr.close()
    assert program.wait() == 141


def test_an_interrupt_in_generated_code_leaves_with_the_same_code(tmp_path: Path) -> None:
    # run as a module: there the interpreter ends itself by the signal when it noted one as unhandled
    (tmp_path / "interrupted.py").write_text(
        "import sys, homing.cli, homing.commands\n"
        "homing.commands._whole = lambda *a, **k: exec('raise KeyboardInterrupt')\n"
        "sys.argv[1:] = ['verify']\n"
        "homing.cli.main()\n"
    )
    done = subprocess.run([sys.executable, "-m", "interrupted"], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 130
    assert done.stderr.strip() == "downstop: interrupted"


def test_an_error_of_ours_shows_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ValueError("not about input")

    monkeypatch.setattr("homing.commands._whole", broken)
    with pytest.raises(ValueError, match="not about input"):
        run(["verify"])
