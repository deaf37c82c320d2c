"""Requirements of the lift's own take part in the search, as robustness in their unit."""

from __future__ import annotations

from importlib.resources import files

import pytest

pytest.importorskip("rtamt")

import numpy as np

from homing import load_lift
from homing.ownrequirements.judging import broken
from homing.report.worst_words import played_lines, worst_json, worst_lines
from homing.setting import prepare
from homing.simulate import nominal_run
from homing.worst.aims import Aims
from homing.worst.case import case_margin, case_text
from homing.worst.casefile import as_case, read_case
from homing.worst.cube import Cube
from homing.worst.study import worst_case
from sensor_models.errors import InputError

# an ordinary stop leaves about 20 mm, a late loop at the trip about 5 mm; starts are looked away from
DEEP = "\n[[requirement]]\nname = 'keeps its distance'\nunit = 'mm'\n"
DEEP += "formula = 'always(in_stopping >= 0.5 implies spool_mm >= 12)'\n"
HELD = "\n[[requirement]]\nname = 'stays low'\nunit = 'mm'\nformula = 'always(carriage_mm <= 5000)'\n"
#: Limits that nothing breaks, so that the own ones decide.
WIDE = {
    "requirements.overtravel_mm": 600.0,
    "requirements.zero_error_mm": 50.0,
    "requirements.time_to_zero_s": 60.0,
}


@pytest.fixture(scope="module")
def lift_file(tmp_path_factory):
    file = tmp_path_factory.mktemp("own") / "lift.toml"
    example = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    file.write_text(example + DEEP + HELD, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def setting(lift_file):
    return prepare(load_lift(str(lift_file)).replace(WIDE))


@pytest.fixture(scope="module")
def found(setting):
    return worst_case(setting, runs=5000, workers=1)


def test_its_margin_is_the_robustness_with_its_sign(setting) -> None:
    aims = Aims.of(setting, with_fault=False)
    nominal = Cube(setting).batch(Cube(setting).nominal[None, :])
    expected = -broken(aims.own, nominal_run(setting))
    assert aims.units[-2:] == ("mm", "mm")
    assert aims.told(nominal)[-2:] == pytest.approx(expected)
    # as it is searched, the nominal run has all of its room left
    assert aims.own_margins(nominal)[0] == pytest.approx([1.0, 1.0])
    assert expected[0] > 5.0


def test_finds_the_run_that_breaks_it(found) -> None:
    assert found.fails
    assert found.case.requirement == "keeps its distance"
    assert found.unit == "mm"
    stopping = found.run.trace["state"] == "stopping"
    lowest = float(np.min(found.run.trace["spool_mm"][stopping]))
    assert lowest < 12.0
    # worked by hand: what implies has the robustness of its larger side, and a phase is 1 against 0.5
    assert found.margin == pytest.approx(max(-0.5, lowest - 12.0), abs=1e-9)


def test_says_on_how_many_runs_it_was_measured(found) -> None:
    deep, held = found.least[-2:]
    assert 0 < deep.measured < found.tried
    assert deep.failing > 0
    assert held.failing == 0
    assert held.margin > 4000.0
    told = "\n".join(worst_lines(found))
    assert f"(measured on {deep.measured} of the runs)" in told
    assert "keeps its distance fails, by " in told
    document = worst_json(found)
    assert document["margin_unit"] == "mm"
    assert document["least_margins"][-1] == {
        "requirement": "stays low",
        "margin": held.margin,
        "margin_unit": "mm",
        "failing": 0,
        "runs": held.measured,
    }


def test_the_case_plays_again_with_its_very_robustness(setting, found, tmp_path) -> None:
    file = tmp_path / "case.toml"
    file.write_text(case_text(found.case), encoding="utf-8")
    again = as_case(read_case(file), setting.lift, str(file))
    margin = case_margin(Aims.named(setting, again.requirement), again)
    assert margin == found.margin
    told = played_lines(setting.lift, again, found.run, margin)
    assert "keeps its distance fails, by " in told[0]
    assert "It is the very run that was found." in told


def test_every_one_is_measured_however_short_the_search(setting) -> None:
    found = worst_case(setting, runs=40, workers=1)
    assert all(each.measured > 1 for each in found.least)


def test_with_a_fault_it_is_said_that_it_is_not_searched(setting) -> None:
    found = worst_case(setting, runs=60, fault="any", workers=1)
    assert {"keeps its distance", "stays low", "time_to_zero_s"} <= set(found.left_out)
    assert "keeps its distance, stays low" in "\n".join(worst_lines(found))


def test_a_case_of_a_requirement_that_the_lift_has_not_is_refused(setting) -> None:
    with pytest.raises(InputError, match='did you mean "stays low"'):
        Aims.named(setting, "stays lo")


def test_a_run_in_which_it_cannot_be_told_fails(setting, monkeypatch) -> None:
    aims = Aims.of(setting, with_fault=False)
    assert aims.scales[-2:].min() > 0.0  # worked out before anything goes wrong
    monkeypatch.setattr("homing.worst.aims.broken", lambda formulas, run: np.array([np.nan, -1.0]))
    nominal = Cube(setting).batch(Cube(setting).nominal[None, :])
    assert aims.told(nominal)[-2:].tolist() == [-aims.scales[-2], 1.0]
