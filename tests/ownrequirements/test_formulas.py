"""Robustness against published and worked values, and what a formula may not say."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from homing import load_lift, simulate, verify
from homing.cli import run
from homing.liftfile import parse
from homing.ownrequirements.judging import judge_own
from homing.ownrequirements.logic import Formula, channel_values, channels_of
from homing.ownrequirements.tables import OwnRequirement
from homing.players import TablePlayer
from homing.setting import prepare
from sensor_models.errors import InputError

pytest.importorskip("rtamt")

#: A small end of travel, one value a second: height, speed, switch.
Q = [5, 4, 3, 2, 1, 0.4, 0.1, 0.05, 0.05, 0.05]
V = [-1, -1, -1, -1, -0.6, -0.3, -0.05, 0, 0, 0]
SWITCH = [0] * 5 + [1] * 5


def robustness(formula: str, t_s=None, **channels) -> float:
    count = len(next(iter(channels.values())))
    made = Formula(OwnRequirement("tested", formula), tuple(channels), "here")
    values = {name: np.asarray(each, dtype=float) for name, each in channels.items()}
    return made.robustness(
        {"t_s": np.arange(count) if t_s is None else np.asarray(t_s, dtype=float), **values}
    )


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        # worked by hand from the definition of robustness (min, max, sup, inf over the samples)
        ("always(q >= 0)", 0.05),
        ("eventually[0,6](sw >= 0.5)", 0.5),
        ("always((sw >= 0.5) implies eventually[0,2](v >= -0.1))", 0.1),
        ("always[0,5](v >= -1.2)", 0.2),
        # with the left side asked up to and with the moment of the right one: min(0.4 - 0.3, 0.5)
        ("(q >= 0.3) until[0,6] (sw >= 0.5)", 0.1),
        ("once[0,2](v <= -0.5)", 0.5),
    ],
)
def test_worked_end_of_travel(formula: str, expected: float) -> None:
    assert robustness(formula, q=Q, v=V, sw=SWITCH) == pytest.approx(expected, abs=1e-12)


def test_published_sum_of_two_signals() -> None:
    # the library's own description: a + b >= -2 gives 122, 3, -10 over time; here each sample starts a run
    a, b = [100, -1, -2], [20, 2, -10]
    found = [robustness("a + b >= -2", a=[*a[k:], 0], b=[*b[k:], 0]) for k in range(3)]
    assert found == [122.0, 3.0, -10.0]


def test_published_request_and_grant_in_dense_time() -> None:
    # the library's own description: 3.0
    formula = "always((req >= 3) implies (eventually[0:5](gnt >= 3)))"
    t_s, req, gnt = [0, 3, 5, 7, 9, 11], [0, 6, 0, 0, 0, 0], [0, 0, 0, 6, 0, 0]
    assert robustness(formula, t_s, req=req, gnt=gnt) == 3.0


def test_published_eventually() -> None:
    # updates (100, 20), (-1, 2), (-2, -10): the pastified monitor says 80, 80, 8, the future one 80 and 8
    a, b = [100, -1, -2], [20, 2, -10]
    assert robustness("eventually[0,1](a >= b)", a=a, b=b) == 80.0
    assert robustness("eventually[0,1](a >= b)", a=a[1:], b=b[1:]) == 8.0


def test_bounds_in_milliseconds_and_uneven_loops() -> None:
    t_s, x = [0.0, 0.019, 0.043, 0.061], [0.0, 0.0, 2.0, 0.0]
    assert robustness("eventually[0:45ms](x >= 1)", t_s, x=x) == 1.0
    assert robustness("eventually[0:40ms](x >= 1)", t_s, x=x) == -1.0
    assert robustness("eventually[20:40ms](x >= 1)", t_s, x=x) == -1.0
    assert robustness("eventually[0.04,0.05](x >= 1)", t_s, x=x) == 1.0
    assert robustness("eventually[0s:45000us](x >= 1)", t_s, x=x) == 1.0


def test_a_formula_can_be_evaluated_again_and_keeps_nothing() -> None:
    made = Formula(OwnRequirement("tested", "always[0,3](q >= 0) and once[0,2](q <= 9)"), ("q",), "here")
    t = np.arange(6.0)
    assert [made.robustness({"t_s": t, "q": t + k}) for k in (1.0, 2.0, -3.0, 1.0)] == [1.0, 2.0, -3.0, 1.0]


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        ("always(carriag_mm >= 0)", 'did you mean "carriage_mm"'),
        ("always(carriage_mm >=", "cannot be read"),
        ("always(1 >= 0)", "at least one channel"),
        ("always(state >= 0)", "not a channel"),
        ("always(carriage_mm >= 0))", "cannot be read"),
    ],
)
def test_a_bad_formula_gets_a_sentence(formula: str, said: str) -> None:
    channels = channels_of(simulate(load_lift(None)).trace, ("creeping",))
    with pytest.raises(InputError, match="tested") as refused:
        Formula(OwnRequirement("tested", formula), channels, "here.toml")
    assert said in str(refused.value)


def test_phases_are_channels() -> None:
    trace = simulate(load_lift(None)).trace
    found = channel_values(trace, ("in_creeping", "carriage_mm"))
    assert found["in_creeping"].sum() == (trace["state"] == "creeping").sum() > 0


def example_with(text: str, tmp_path) -> str:
    from importlib.resources import files

    file = tmp_path / "lift.toml"
    own = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    file.write_text(own + text, encoding="utf-8")
    return str(file)


HELD = '\n[[requirement]]\nname = "stays on its slides"\nformula = "always(carriage_mm >= -1)"\nunit = "mm"\n'
BROKEN = '\n[[requirement]]\nname = "never moves"\nformula = "always(carriage_mm_s <= 0.5)"\nunit = "mm/s"\n'


def test_judged_like_the_others(tmp_path) -> None:
    found = verify(load_lift(example_with(HELD + BROKEN, tmp_path)), runs=300)
    held, broken = found.requirements[-2:]
    assert held.name == "stays on its slides"
    assert held.passed
    assert held.runs == 300
    assert held.nominal < 0.0 == held.limit
    assert held.margin == pytest.approx(-held.p99)
    assert not broken.passed
    assert broken.nominal > 0.0
    assert 'breaks "never moves"' in found.advice[0]


def test_too_few_runs_to_decide_fail(tmp_path) -> None:
    player = TablePlayer(prepare(load_lift(example_with(HELD, tmp_path))))
    found = judge_own(player, player.nominal()[0], 50)[0]
    assert not found.passed
    assert "too few" in found.why


def test_without_the_library_there_is_one_sentence(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setitem(sys.modules, "rtamt", None)
    assert run(["verify", example_with(HELD, tmp_path), "--runs", "5", "--quiet"]) == 2
    said = capsys.readouterr().err
    assert "needs the library rtamt" in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[requirement]]\nname = "a"\n', "requirement[1].formula must be given"),
        ('[[requirement]]\nname = "a"\nformla = "x"\n', 'did you mean "formula"'),
        ('[[requirement]]\nname = 3\nformula = "x"\n', "must be text"),
        ('[[requirement]]\nname = "slack_mm"\nformula = "x"\n', "a name of its own"),
        ('[requirement]\nname = "a"\n', "[[requirement]]"),
    ],
)
def test_a_bad_table_gets_a_sentence(text: str, said: str, tmp_path) -> None:
    assert parse(text, "here")
    with pytest.raises(InputError) as refused:
        load_lift(example_with("\n" + text, tmp_path))
    assert said in str(refused.value)
