"""Stories of broken invariants make sense, and the full simulation does the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from flawed import flawed

from homing.batches import batch, nominal_batch
from homing.faults import FAULT_BASE, FaultPlan
from homing.review import Violation
from homing.review.explore import explore
from homing.review.invariants import Invariant
from homing.setting import prepare
from homing.simulate import traced


@dataclass(frozen=True)
class Told:
    """What a story must say: the invariant, what is broken, the last loop, and the ending."""

    invariant: Invariant
    fault: str
    last: tuple[str, ...]
    ending: str


STORIES: dict[str, Told] = {
    "edge-triggered start on the sensor": Told(
        Invariant.STOP, "nothing", ("down, told in", "reads made", "no row is taken"), "the string goes slack"
    ),
    "reset while coasting": Told(
        Invariant.STANDING,
        "nothing",
        ("rest, told to stand, moving in", "leads to home, sets zero here"),
        "still moves",
    ),
    "spike taken for stall": Told(
        Invariant.IN_ZONE,
        "nothing",
        ("down, told in, standing", "not moving 40 ms", "sets zero here"),
        "the declared height is wrong",
    ),
    "no time-out, no travel guard": Told(
        Invariant.GUARD,
        "the sensor is lost, or sticks off",
        ("down, told in, moving in", "wound on the wrong way", "reads not made", "no row is taken"),
        "nothing has stopped it",
    ),
    "disabled lift moves": Told(
        Invariant.FAULTED,
        "nothing",
        ("off, told to stand", "reads made", "(made) leads to leave"),
        "until a person asks",
    ),
    "retries without end": Told(
        Invariant.ENDS, "the reading chatters", ("reads made", "leads to rest"), "round for ever"
    ),
    "drives to zero in place of homing": Told(
        Invariant.HAS_ZERO, "nothing", ("stand", "leads to home"), "no zero was set"
    ),
    "stop waits for agreement": Told(
        Invariant.MADE, "nothing", ("down, told in", "reads made", "no row is taken"), "made twice"
    ),
}


def violation(name: str, invariant: Invariant) -> Violation:
    found = explore(flawed(name)).violations
    return next(each for each in found if each.invariant == invariant.value)


@pytest.mark.parametrize("name", STORIES)
def test_the_story_makes_sense(name: str) -> None:
    told = STORIES[name]
    found = violation(name, told.invariant)
    assert found.fault == told.fault
    first, *loops, ending = found.story
    assert first.startswith("At first: idle, at rest ")
    assert "a start is requested" in first
    assert [line.split(":")[0] for line in loops] == [f"Loop {n}" for n in range(1, len(loops) + 1)]
    assert "(start requested) leads to down" in loops[0]
    assert all(words in loops[-1] for words in told.last)
    assert told.ending in ending
    assert len(found.story) <= 9


@pytest.mark.parametrize("name", STORIES)
def test_the_full_simulation_does_the_same(name: str) -> None:
    case = violation(name, STORIES[name].invariant).case
    assert case is not None
    setting, run = flawed(name), case["run"]
    if run is None:
        lift = setting.lift.replace({"lift.start_mm": case["start_mm"]})
        moved = prepare(lift, case["seed"])
        again = traced(moved, nominal_batch(moved), None)
    else:
        plan = FaultPlan() if run >= FAULT_BASE else None
        again = traced(setting, batch(setting, np.array([run]), plan), run)
        assert (case["fault"] is None) == (plan is None)
    at = int(np.argmin(np.abs(again.trace["t_s"] - case["t_s"])))
    assert str(again.trace["state"][at]) == case["state"]
    assert again.outcome.word == case["outcome"]


def test_a_start_on_the_sensor_drives_into_the_stop_in_the_simulation_too() -> None:
    case = violation("edge-triggered start on the sensor", Invariant.STOP).case
    assert case is not None
    assert case["state"] == "down"
    assert case["outcome"] == "unsafe"
    assert case["start_mm"] < flawed("edge-triggered start on the sensor").trip_m * 1000


def test_a_fault_is_named_where_it_strikes() -> None:
    found = violation("no time-out, no travel guard", Invariant.GUARD)
    assert sum("now the sensor is lost" in line for line in found.story) == 1
    assert "the reading chatters" in found.also
