"""``downstop export``: to standard output or into a new file, whole or not at all; refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from export_lifts import EXAMPLES

from homing.cli import run
from homing.export import Form, exported
from homing.liftfile import load_lift
from homing.starter import starter_text


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Run, expect exit code 2 and one sentence on standard error, and return it."""
    assert run(["export", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith("downstop: ")
    return err


@pytest.mark.parametrize("form", list(Form), ids=[form.value for form in Form])
def test_without_a_file_it_goes_to_standard_output(
    form: Form, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert run(["export", "--as", form.value]) == 0
    out, err = capsysbinary.readouterr()
    assert out.decode() == exported(load_lift(), form)
    assert err == b""


@pytest.mark.parametrize(
    ("form", "file"),
    [
        ("table", "lift.txt"),
        ("json", "lift.json"),
        ("java", "Mast.java"),
        ("cpp", "mast.hpp"),
        ("cpp", "mast.h"),
        ("python", "mast.py"),
    ],
)
def test_into_a_file(form: str, file: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / file
    assert run(["export", str(EXAMPLES / "infrared.toml"), "--as", form, "--out", str(place)]) == 0
    said = capsys.readouterr().out
    assert str(place) in said
    assert "low power" in said
    lift = load_lift(EXAMPLES / "infrared.toml")
    assert place.read_text() == exported(lift, Form(form), place.stem)
    assert [each.name for each in tmp_path.iterdir()] == [file]


def test_class_and_namespace_are_named_after_the_file(tmp_path: Path) -> None:
    for form, file in (("java", "BookMast.java"), ("cpp", "book_mast.hpp")):
        assert run(["export", "--as", form, "--out", str(tmp_path / file)]) == 0
    assert "public final class BookMast {" in (tmp_path / "BookMast.java").read_text()
    assert "namespace book_mast {" in (tmp_path / "book_mast.hpp").read_text()


def test_the_lift_may_be_named_either_way(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "starter.toml"
    file.write_text(starter_text())
    assert run(["export", str(file), "--as", "json"]) == 0
    first = capsys.readouterr().out
    assert run(["export", "--lift", str(file), "--as", "json"]) == 0
    assert capsys.readouterr().out == first
    assert json.loads(first)["lift"] == "My lift"
    assert "must be given once" in refused(capsys, str(file), "--lift", str(file), "--as", "json")


def test_nothing_is_overwritten_unless_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "Mast.java"
    place.write_text("mine")
    assert "nothing is overwritten without --overwrite" in refused(
        capsys, "--as", "java", "--out", str(place)
    )
    assert place.read_text() == "mine"
    assert run(["export", "--as", "java", "--out", str(place), "--overwrite"]) == 0
    assert "class Mast" in place.read_text()


@pytest.mark.parametrize("word", ["rust", "C++", "Java", "", "pyton"])
def test_an_unknown_language_is_one_sentence(word: str, capsys: pytest.CaptureFixture[str]) -> None:
    said = refused(capsys, "--as", word)
    assert "--as must be table, json, java, cpp or python" in said
    assert repr(word) in said
    assert ('did you mean "python"?' in said) is (word == "pyton")


def test_the_form_must_be_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert "--as must be table, json, java, cpp or python" in refused(capsys)


@pytest.mark.parametrize(
    ("form", "file", "why"),
    [
        ("java", "mast.py", "must end in .java"),
        ("cpp", "mast.cpp", "must end in .hpp or .h"),
        ("java", "my-mast.java", "must be named like a java identifier"),
        ("java", "class.java", "must be named like a java identifier"),
        ("cpp", "2nd.hpp", "must be named like a cpp identifier"),
        ("python", "while.py", "must be named like a python identifier"),
        ("json", "no/such/folder/lift.json", "must be a file that can be written"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused(
    form: str, file: str, why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert why in refused(capsys, "--as", form, "--out", str(tmp_path / file))
    assert list(tmp_path.iterdir()) == []


def test_a_lift_that_cannot_be_used_leaves_no_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lift, place = tmp_path / "lift.toml", tmp_path / "Mast.java"
    lift.write_text(starter_text().replace("gap_mm = ", "gap_mm = 9"))
    assert "is never made anywhere on the travel" in refused(
        capsys, str(lift), "--as", "java", "--out", str(place)
    )
    lift.write_text(starter_text().replace("\ntravel_mm = ", "\n# travel_mm = "))
    assert "lift.travel_mm must be given" in refused(capsys, str(lift), "--as", "java", "--out", str(place))
    assert not place.exists()
