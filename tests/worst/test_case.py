"""A case file plays the very run again; and bad ones get sentences."""

from __future__ import annotations

import json

import numpy as np
import pytest

from homing import load_lift
from homing.cli import run
from homing.draws import draw
from homing.setting import prepare
from homing.simulate import run_batch, run_nominal, simulate
from homing.worst.case import case_text
from homing.worst.casefile import as_case, read_case
from homing.worst.cube import Cube
from homing.worst.study import as_case as case_of
from homing.worst.study import case_margin, play, worst_case
from sensor_models.errors import InputError


@pytest.fixture(scope="module")
def setting():
    # the 99 % quantile of the example's overtravel is 10.5 mm: one run in a hundred fails
    return prepare(load_lift(None).replace({"requirements.overtravel_mm": 10.5}))


@pytest.fixture(scope="module")
def found(setting):
    return worst_case(setting, runs=600, workers=1)


def test_the_nominal_point_is_the_nominal_run(setting) -> None:
    cube = Cube(setting)
    row, nominal = cube.simulate(cube.nominal[None, :]), run_nominal(setting)
    assert row[0] == pytest.approx(nominal[0], rel=1e-9, nan_ok=True)


def test_a_point_with_a_run_number_is_that_run_of_the_ensemble(setting) -> None:
    from homing.draws import columns_of
    from homing.kernel.random import TOLERANCE_STREAM, fill_uniforms
    from homing.worst.cube import RUN_NUMBERS

    number, cube = 77, Cube(setting)
    u = np.empty((1, columns_of(setting.lift)))
    fill_uniforms(setting.seed, np.array([number]), TOLERANCE_STREAM, u.shape[1], u)
    point = np.append(u[0], (number + 1.5) / (RUN_NUMBERS + 1))
    case = case_of(cube, point, "overtravel_mm", 0.0)
    assert case.run_number == number
    assert case.start == draw(setting.lift, setting.seed, np.array([number])).start_kind[0]
    assert play(setting, case).metrics == pytest.approx(
        simulate(setting.lift, run=number, setting=setting).metrics, nan_ok=True
    )


def test_finds_a_failing_run_and_makes_it_small(found) -> None:
    assert found.fails
    assert found.margin < 0.0
    assert found.tried == 600
    assert 1 <= len(found.departures) <= 4
    assert found.case.requirement == "overtravel_mm"


def test_does_not_depend_on_the_number_of_cores(setting, found) -> None:
    assert worst_case(setting, runs=600, workers=3).case == found.case


def test_read_back_it_is_the_same_case_and_the_same_row_bit_for_bit(setting, found, tmp_path) -> None:
    file = tmp_path / "case.toml"
    file.write_text(case_text(found.case, "found today"), encoding="utf-8")
    again = as_case(read_case(file), setting.lift, str(file))
    assert again == found.case
    assert case_margin(setting, again) == found.margin
    first, second = (run_batch(setting, c.batch(setting), setting.periods_s) for c in (found.case, again))
    assert first.tobytes() == second.tobytes()


def test_with_a_fault_it_names_it(setting) -> None:
    found = worst_case(setting, runs=200, fault="sensor stuck off", workers=1)
    assert found.fails
    assert found.case.fault in (None, "sensor stuck off")


def test_nothing_found_says_so_with_the_runs_tried() -> None:
    from homing.report.worst_words import worst_lines

    lift = load_lift(None).replace({"requirements.overtravel_mm": 600.0, "requirements.zero_error_mm": 50.0})
    found = worst_case(prepare(lift), runs=200, workers=1)
    assert not found.fails
    assert found.margin > 0.0
    assert "nothing found that fails in 200 runs" in worst_lines(found)[0]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[start]", "[sart]", 'did you mean "start"'),
        ("place = ", "plce = ", 'did you mean "place"'),
        ('kind = "', 'kind = "x', "must be one of nominal"),
        ("towards = ", "towards = 1", "must be a number from 0 to 1"),
        ('"lift.friction_n" = ', '"lift.friction_n" = 1000', "lift.friction_n"),
        ('"lift.friction_n" = ', '"lift.frition_n" = ', "must be a tolerance of the lift"),
        ("seed = 0", "seed = true", "must be a whole number"),
        ("margin = ", 'margin = "', "is not valid TOML"),
    ],
)
def test_a_spoilt_case_gets_a_sentence(setting, found, tmp_path, old: str, new: str, said: str) -> None:
    file = tmp_path / "case.toml"
    text = case_text(found.case)
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=r"case\.toml") as refused:
        as_case(read_case(file), setting.lift, str(file))
    assert said in str(refused.value)


def test_verify_writes_the_case_and_plays_it_again(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    run(["verify", "--runs", "20", "--worst", "0.2", "--json", "a.json", "--quiet"])
    told = json.loads((tmp_path / "a.json").read_text())["worst_case"]
    for name in ("first.json", "second.json"):
        code = run(["verify", "--case", "worst_case.toml", "--json", name, "--quiet"])
        assert code == (1 if told["found"] else 0)
    assert (tmp_path / "first.json").read_bytes() == (tmp_path / "second.json").read_bytes()
    played = json.loads((tmp_path / "first.json").read_text())
    assert played["margin"] == played["margin_when_found"] == told["margin"]
    assert played["same_lift"]
    run(["verify", "--runs", "20", "--worst", "0.1", "--quiet"])
    assert (tmp_path / "worst_case_2.toml").exists()


@pytest.mark.parametrize(
    "words",
    [
        ["--worst-fault", "any"],
        ["--worst", "1", "--run", "3"],
        ["--case", "missing.toml"],
        ["--worst", "1", "--program", "true"],
        ["--worst", "0"],
        ["--rare", "10"],
        ["--worst", "0.1", "--worst-fault", "sensor stuck of", "--runs", "10"],
    ],
)
def test_options_without_a_meaning_are_refused(words: list[str], capsys, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["verify", *words]) == 2
    assert "downstop: " in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
