"""Small rates of a lift: its own requirements too, Ctrl-C, and nothing claimed where nothing is known."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

pytest.importorskip("rtamt")

from homing import load_lift, simulate
from homing.draws import columns_of
from homing.ownrequirements.judging import broken, formulas_of
from homing.rare.study import STOPPED, drawn, small_rates
from homing.rare.subset import nothing_found
from homing.report.rare_words import rate_lines, rates_json
from homing.setting import prepare
from homing.simulate import nominal_run
from homing.statistics import interval
from homing.worst.aims import run_of

# the 95 % quantile of the example's current at the loops is 14.6 A
PEAK = "\n[[requirement]]\nname = 'spares the battery'\nunit = 'A'\nformula = 'always(current_a <= 14.5)'\n"


@pytest.fixture(scope="module")
def setting(tmp_path_factory):
    file = tmp_path_factory.mktemp("own") / "lift.toml"
    example = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    file.write_text(example + PEAK, encoding="utf-8")
    return prepare(load_lift(str(file)))


@pytest.mark.slow
def test_a_requirement_of_its_own_agrees_with_plain_sampling(setting) -> None:
    found = small_rates(setting, ["spares the battery"], 6000)[0].found
    nominal = nominal_run(setting)
    formulas = formulas_of(setting, nominal, setting.lift.own_requirements)
    values = [broken(formulas, simulate(setting.lift, run=k, setting=setting))[0] for k in range(400)]
    failures = int(np.sum(np.array(values) > 0.0))
    low, high = interval(failures, 400)
    assert 5 < failures < 60  # about one in twenty
    assert found.low <= high
    assert found.high >= low


def test_own_requirements_are_estimated_with_the_fixed_ones(setting, monkeypatch) -> None:
    asked = []

    def measured(margin, dimensions, runs_per_level, seed, done):
        z = np.zeros((2, dimensions))
        asked.append(margin(z, np.array([3, 4])))
        return nothing_found("not asked")

    monkeypatch.setattr("homing.rare.study.small_probability", measured)
    rates = small_rates(setting, ["spares the battery", "slack_mm"], 1000)
    assert [each.requirement for each in rates] == ["slack_mm", "spares the battery"]
    formulas = formulas_of(setting, nominal_run(setting), setting.lift.own_requirements)
    made = drawn(setting, np.zeros((2, columns_of(setting.lift))), np.array([3, 4]))
    expected = np.array([-broken(formulas, run_of(setting, made, row))[0] for row in range(2)])
    scale = -broken(formulas, nominal_run(setting))[0]
    assert asked[1] == pytest.approx(expected / scale)


def test_ctrl_c_keeps_what_is_known_and_says_what_is_not(setting) -> None:
    def pressed(what: str, done: int, of: int) -> None:
        if "slack" in what:
            raise KeyboardInterrupt

    rates = small_rates(setting, ["overtravel_mm", "slack_mm", "spares the battery"], 1000, progress=pressed)
    first, *rest = rates
    assert first.found.runs > 0
    assert [each.found.why for each in rest] == [STOPPED, STOPPED]
    assert all(each["failure_probability"] is None for each in rates_json(rates)[1:])
    assert STOPPED in rate_lines(rates)[-1]
