"""A case file plays the very run again; and bad ones get sentences."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from homing import load_lift
from homing.cli import run
from homing.draws import draw
from homing.setting import prepare
from homing.simulate import run_batch, run_block, run_nominal, simulate
from homing.worst.aims import Aims
from homing.worst.case import case_margin, case_of_point, case_text, play
from homing.worst.casefile import as_case, read_case
from homing.worst.cube import Cube
from homing.worst.study import worst_case
from homing.worst.timing import Timing
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
    point = np.concatenate([u[0], [(number + 1.5) / (RUN_NUMBERS + 1)], cube.nominal[cube.drawn + 1 :]])
    case = case_of_point(cube, point, "overtravel_mm", 0.0)
    assert cube.simulate(point[None, :]).tobytes() == run_block(setting, np.array([number])).tobytes()
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
    assert case_margin(Aims.named(setting, "overtravel_mm"), again) == found.margin
    first, second = (run_batch(setting, c.batch(setting), setting.periods_s) for c in (found.case, again))
    assert first.tobytes() == second.tobytes()


def test_without_timing_of_its_own_the_section_is_left_out(setting, found, tmp_path) -> None:
    plain, file = replace(found.case, timing=Timing()), tmp_path / "case.toml"
    file.write_text(case_text(plain), encoding="utf-8")
    assert "timing" not in read_case(file)
    assert as_case(read_case(file), setting.lift, str(file)) == plain


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


TIMING = """[timing]
late_loop = "{}"
loop_phase = 0.0
loop_length = 0.5
sampling_phase = 0.0
late_place = 0.25
"""


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[start]", "[sart]", 'did you mean "start"'),
        ("place = ", "plce = ", 'did you mean "place"'),
        ('kind = "', 'kind = "x', "must be one of nominal"),
        ("towards = ", "towards = 1", "must be a number from 0 to 1"),
        ('"lift.friction_n" = ', '"lift.friction_n" = 1000', "lift.friction_n"),
        ('"lift.friction_n" = ', '"lift.frition_n" = ', "must be a tolerance of the lift"),
        ('kind = "', "kind = [1] # ", "must be one of nominal"),
        ("[values]", '[timing]\nlate_loop = "first way in"\n[values]', "timing.loop_phase must be given"),
        ("[values]", TIMING.format("first way up") + "[values]", "must be one of none, first way in"),
        ("[values]", TIMING.format("none").replace("0.25", "25") + "[values]", "timing.late_place"),
        ("seed = 0", "seed = true", "must be a whole number"),
        ("margin = ", 'margin = "', "is not valid TOML"),
    ],
)
def test_a_spoilt_case_gets_a_sentence(setting, found, tmp_path, old: str, new: str, said: str) -> None:
    file = tmp_path / "case.toml"
    text = case_text(replace(found.case, timing=Timing()))
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


def test_loops_measured_in_a_log_must_be_given_again(tmp_path, monkeypatch, capsys) -> None:
    logs = {"late.csv": np.append(np.full(40, 0.02), 0.2), "other.csv": np.full(9, 0.021)}
    monkeypatch.chdir(tmp_path)
    for place in ("homing.commands", "homing.outputs"):
        monkeypatch.setattr(f"{place}.measured_periods", lambda log, lift: None if log is None else logs[log])
    run(
        [
            "verify",
            "--runs",
            "20",
            "--worst",
            "0.3",
            "--timing-from",
            "late.csv",
            "--json",
            "a.json",
            "--quiet",
        ]
    )
    told = json.loads((tmp_path / "a.json").read_text())["worst_case"]
    again = ["verify", "--case", "worst_case.toml", "--json", "b.json", "--quiet"]
    assert run([*again, "--timing-from", "late.csv"]) == (1 if told["found"] else 0)
    played = json.loads((tmp_path / "b.json").read_text())
    assert played["margin"] == played["margin_when_found"] == told["margin"]
    capsys.readouterr()
    assert run(again) == 2
    assert "--timing-from must be given" in capsys.readouterr().err
    assert run([*again, "--timing-from", "other.csv"]) == 2
    assert "its loops are not those" in capsys.readouterr().err


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
