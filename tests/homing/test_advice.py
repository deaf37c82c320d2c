"""What to change and by how much: found by trying, and it really helps."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

import numpy as np
import pytest

from homing import advice
from homing.advice import MOST_TRIALS, TRIAL_RUNS, Lever, advise, levers
from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.liftfile import Lift
from homing.requirements import judge
from homing.setting import prepare

#: What a sentence of the advice changes, and how the number in it is to be read.
READINGS = (
    (r"slow to ([\d.]+) mm/s", "routine.fast_speed_mm_s", False),
    (r"come in at ([\d.]+) mm/s", "routine.fast_speed_mm_s", False),
    (r"creep at ([\d.]+) mm/s", "routine.creep_speed_mm_s", False),
    (r"raise the sensor ([\d.]+) mm", "sensor.bottom.mount_mm", True),
    (r"back off ([\d.]+) mm", "routine.back_off_mm", False),
)


def failing(lift: Lift, seed: int = 0, runs: int = TRIAL_RUNS) -> list[str]:
    """Names of the requirements that fall short."""
    setting, numbers = prepare(lift, seed), np.arange(runs)
    ensemble = as_ensemble(setting, numbers, run_many(setting, numbers))
    return [each.name for each in judge(lift, nominal_ensemble(setting), ensemble) if not each.passed]


def followed(lift: Lift, way_out: str) -> Lift:
    """The lift changed as one way out of the sentence says."""
    changes, numbers = {}, lift.quantities()
    for pattern, key, added in READINGS:
        if found := re.search(pattern, way_out, re.IGNORECASE):
            changes[key] = float(found[1]) + (numbers[key] if added else 0.0)
    assert changes, way_out
    return lift.replace(changes)


@pytest.mark.parametrize(
    ("spoiling", "expected"),
    [
        ({"routine.fast_speed_mm_s": 400}, "Slow to"),
        ({"sensor.bottom.mount_mm": -14}, "aise the sensor"),
        ({"routine.creep_speed_mm_s": 8}, "Creep at"),
    ],
    ids=["too fast", "sensor too low", "creeps too slowly"],
)
def test_following_the_advice_makes_every_requirement_hold(
    example: Lift, spoiling: Mapping[str, float], expected: str
) -> None:
    lift = example.replace(spoiling)
    short = failing(lift)
    assert short
    sentence = advise(lift, short, seed=0)
    assert expected in sentence
    assert sentence.endswith(f"(found by trying it on {TRIAL_RUNS} runs).")
    for way_out in sentence.split(", or "):
        assert failing(followed(lift, way_out)) == [], way_out


def test_every_lever_moves_a_key_of_the_lift_the_way_its_words_say(example: Lift) -> None:
    numbers = example.quantities()
    for lever in levers(example):
        nominal = numbers[lever.key]
        moved = lever.at(nominal, 1.0)
        assert moved != nominal
        less = (
            any(word in lever.words for word in ("slow", "accelerate", "limit"))
            or lever.against[0] == "zero_error_mm"
        )
        assert (moved < nominal) == less, lever.words
        assert f"{abs(moved - nominal):g}" in lever.say(nominal, 1.0) or f"{moved:g}" in lever.say(
            nominal, 1.0
        )


def test_a_lever_rounds_away_from_where_it_stands() -> None:
    slower = Lever("routine.fast_speed_mm_s", "slow to {value:g} mm/s", (), factor=0.15, step=5.0)
    assert slower.at(180.0, 0.1) == 160.0  # 164.7 is not enough, 165 would be less than asked
    raised = Lever("sensor.bottom.mount_mm", "raise the sensor {change:g} mm", (), add=60.0, step=0.5)
    assert raised.at(15.0, 0.03) == 17.0  # 16.8
    assert raised.say(15.0, 0.03) == "raise the sensor 2 mm"


@pytest.fixture
def only_if(
    monkeypatch: pytest.MonkeyPatch,
) -> Callable[[Callable[[dict[str, float]], bool]], list[dict[str, float]]]:
    """Put a made-up verdict on the changed keys in the place of the simulation; returns what was tried."""

    def decide(holds: Callable[[dict[str, float]], bool]) -> list[dict[str, float]]:
        tried: list[dict[str, float]] = []

        def verdict(self: advice._Trial, lever: Lever, part: float, also: dict[str, float]) -> bool:
            changes = {**also, lever.key: lever.at(self.numbers[lever.key], part)}
            tried.append(changes)
            return holds({**self.numbers, **changes})

        monkeypatch.setattr(advice._Trial, "_holds", verdict)
        return tried

    return decide


def test_the_smallest_change_that_helps_is_found_to_a_fiftieth_of_the_way(example: Lift, only_if) -> None:  # type: ignore[no-untyped-def]
    only_if(lambda numbers: numbers["routine.fast_speed_mm_s"] <= 131.0)
    nominal = example.quantities()["routine.fast_speed_mm_s"]
    sentence = advise(example, ["overtravel_mm"], seed=0)
    found = float(re.search(r"Slow to ([\d.]+)", sentence)[1])  # type: ignore[index]
    assert found <= 131.0
    assert found >= 131.0 - 5.0 - 0.85 * nominal / 50


def test_two_ways_out_are_both_told(example: Lift, only_if) -> None:  # type: ignore[no-untyped-def]
    only_if(
        lambda numbers: numbers["routine.fast_speed_mm_s"] < 150 or numbers["sensor.bottom.mount_mm"] > 25
    )
    sentence = advise(example, ["overtravel_mm"], seed=0)
    assert re.match(r"Slow to [\d.]+ mm/s, or raise the sensor [\d.]+ mm \(", sentence)


def test_where_no_lever_helps_alone_two_are_pulled(example: Lift, only_if) -> None:  # type: ignore[no-untyped-def]
    only_if(
        lambda numbers: numbers["routine.fast_speed_mm_s"] < 110 and numbers["sensor.bottom.mount_mm"] > 25
    )
    sentence = advise(example, ["overtravel_mm"], seed=0)
    assert re.match(r"Slow to [\d.]+ mm/s and raise the sensor [\d.]+ mm \(", sentence)


def test_a_hopeless_lift_is_told_so(example: Lift, only_if) -> None:  # type: ignore[no-untyped-def]
    only_if(lambda numbers: False)
    assert advise(example, ["overtravel_mm"], seed=0).startswith("No change")


def test_only_levers_against_what_fails_are_pulled(example: Lift, only_if) -> None:  # type: ignore[no-untyped-def]
    tried = only_if(lambda numbers: False)
    advise(example, ["peak_current_a"], seed=0)
    keys = {key for changes in tried for key in changes}
    assert keys == {"drive.acceleration_mm_s2", "drive.current_limit_a"}


def test_the_number_of_ensembles_tried_is_limited(example: Lift, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []

    def counted(*args: object, **kwargs: object) -> object:
        made.append(1)
        return run_many(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(advice, "run_many", counted)
    monkeypatch.setattr(advice, "TRIAL_RUNS", 4)  # too few to show anything: no trial can ever hold
    monkeypatch.setattr(advice, "MOST_TRIALS", 5)
    advise(example, ["overtravel_mm"], seed=0)
    assert len(made) == 5


def test_with_no_trial_left_nothing_more_is_set_up(example: Lift, monkeypatch: pytest.MonkeyPatch) -> None:
    # else a hopeless lift takes a quarter of a minute to be told so
    def refuse(*args: object) -> None:
        raise AssertionError("a lift was set up for nothing")

    trial = advice._Trial(example, 0, None)
    trial.left = 0
    monkeypatch.setattr(advice, "prepare", refuse)
    assert not trial._holds(levers(example)[0], 0.1, {})


def test_a_change_that_the_lift_cannot_have_is_no_way_out(example: Lift) -> None:
    # a mount above the travel is refused by the lift file's own checks
    trial = advice._Trial(example, 0, None)
    high = Lever("sensor.bottom.mount_mm", "raise the sensor {change:g} mm", (), add=5000.0)
    assert not trial._holds(high, 1.0, {})
    assert trial.left == MOST_TRIALS
