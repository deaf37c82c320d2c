"""The new lift file: settings put in, everything else as it was, and never onto a file that is there."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from tuningcases import example_text, lift_of

from homing.tuning.newfile import check_edit, check_editable, new_name, with_settings
from sensor_models.errors import InputError

SETTINGS = {"fast_speed_mm_s": 205.0, "back_off_mm": 7.5, "agree_readings": 3.0}
ORIGINS = dict.fromkeys(SETTINGS, "tuned")


def edited(text: str) -> str:
    return with_settings(text, SETTINGS, ORIGINS, lift_of(text))


def test_only_the_settings_change() -> None:
    text = example_text()
    old, new = tomllib.loads(text), tomllib.loads(edited(text))
    assert new["routine"] == {**old["routine"], **SETTINGS}
    assert {key: value for key, value in new.items() if key != "routine"} == {
        key: value for key, value in old.items() if key != "routine"
    }
    check_edit(edited(text), lift_of(text), SETTINGS)


def test_lines_and_comments_of_others_stay() -> None:
    text = example_text({"back_off_mm = 10": "back_off_mm = 10   # clear of the drip edge"})
    new = edited(text)
    kept = [line for line in text.splitlines() if not line.startswith(("fast_speed", "back_off"))]
    assert [line for line in new.splitlines() if line in kept] == kept
    assert "back_off_mm = 7.5  # tuned, was 10; clear of the drip edge" in new
    assert "fast_speed_mm_s = 205  # tuned, was 180" in new
    assert "agree_readings = 3  # tuned, was not given (2 assumed)" in new


def test_a_value_that_stays_says_so() -> None:
    text = example_text()
    new = with_settings(text, {"fast_speed_mm_s": 180.0}, {"fast_speed_mm_s": "tuned"}, lift_of(text))
    assert "fast_speed_mm_s = 180  # tuned, as before" in new


def test_a_file_without_the_section_gets_one() -> None:
    text = example_text()
    head, _, rest = text.partition("[routine]")
    without = head + rest[rest.index("[requirements]") :]
    new = edited(without)
    assert tomllib.loads(new)["routine"] == SETTINGS
    assert new.startswith(without.rstrip("\n"))


@pytest.mark.parametrize("form", ["inline", "dotted", "quoted header", "spaces"])
def test_other_ways_to_write_it_are_taken_or_refused(form: str) -> None:
    text = example_text()
    head, _, rest = text.partition("[routine]")
    keys, after = rest[: rest.index("[requirements]")], rest[rest.index("[requirements]") :]
    plain = [line.split("#")[0].strip() for line in keys.splitlines() if "=" in line]
    written = {
        "inline": f"routine = {{ {', '.join(plain)} }}\n{head}{after}",
        "dotted": "\n".join(f"routine.{line}" for line in plain) + f"\n{head}{after}",
        "quoted header": text.replace("[routine]", '["routine"]  # ours'),
        "spaces": text.replace("[routine]", "  [ routine ]").replace("back_off_mm = 10", "  back_off_mm=10"),
    }[form]
    lift = lift_of(written)
    assert lift.routine == lift_of(text).routine
    if form in ("inline", "dotted"):
        with pytest.raises(InputError, match=r"lines of their own under \[routine\]"):
            check_editable(written, lift, tuple(SETTINGS))
    else:
        check_editable(written, lift, tuple(SETTINGS))
        check_edit(edited(written), lift, SETTINGS)


def test_a_text_that_looks_like_the_section_is_not_taken_for_it() -> None:
    text = example_text({'name = "Shelving robot mast"': 'name = """\n[routine]\nfast_speed_mm_s = 1\n"""'})
    with pytest.raises(InputError, match=r"\[routine\]"):
        check_editable(text, lift_of(text), tuple(SETTINGS))


def test_an_edit_that_says_something_else_is_refused() -> None:
    text = example_text()
    with pytest.raises(InputError, match=r"\[routine\]"):
        check_edit(edited(text).replace("travel_mm = 640", "travel_mm = 600"), lift_of(text), SETTINGS)


def test_names_are_new(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    lift = lift_of(example_text(), "my lift.toml")
    assert new_name(None, None, lift) == Path("my_lift.tuned.toml")
    Path("my_lift.tuned.toml").write_text("mine")
    assert new_name(None, None, lift) == Path("my_lift.tuned-2.toml")
    assert new_name("better.toml", None, lift) == Path("better.toml")
    assert new_name(None, "report", lift) == Path("report/my_lift.tuned.toml")


@pytest.mark.parametrize("kind", ["file", "link", "dangling link"])
def test_a_name_that_is_there_is_refused(tmp_path: Path, kind: str) -> None:
    old, place = tmp_path / "old.toml", tmp_path / "new.toml"
    if kind != "dangling link":
        old.write_text("mine")
    if kind == "file":
        place = old
    else:
        place.symlink_to(old)
    with pytest.raises(InputError, match="not overwritten"):
        new_name(str(place), None, lift_of(example_text()))


@pytest.mark.parametrize("name", ["new.txt", "nowhere/new.toml"])
def test_a_name_that_cannot_be_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="--new"):
        new_name(str(tmp_path / name), None, lift_of(example_text()))
