"""Injected faults: which a lift can have, and how their onset, size and place are drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from liftfiles import REMOVED, lift_with

from homing.batches import batch
from homing.faults import (
    FAULT_BASE,
    FAULT_RUNS,
    FAULT_STEP,
    FAULTS,
    FaultPlan,
    faults_for,
    run_numbers,
)
from homing.kernel.codes import Fault
from homing.liftfile import Lift
from homing.setting import Setting, prepare


def test_the_example_knows_at_least_twenty_faults(example: Lift) -> None:
    assert len({kind.name for kind in faults_for(example)}) >= 20
    assert len({kind.code for kind in faults_for(example)}) >= 20


def test_every_code_of_the_kernel_is_used_and_every_name_is_its_own() -> None:
    assert {kind.code for kind in FAULTS} == set(Fault) - {Fault.NONE}
    assert len({kind.name for kind in FAULTS}) == len(FAULTS)


@pytest.mark.parametrize("kind", FAULTS, ids=lambda kind: kind.name)
def test_the_quantity_that_a_fault_alters_is_written_down(kind: Any) -> None:
    quantity, _, how = kind.alters.partition(":")
    assert quantity
    assert how.strip()
    assert kind.low <= kind.high


def test_each_fault_has_at_least_64_runs_with_numbers_of_their_own(example: Lift) -> None:
    assert FAULT_RUNS >= 64
    numbers = run_numbers(example)
    assert len(set(numbers.tolist())) == len(numbers) == FAULT_RUNS * len(faults_for(example))
    assert numbers.min() >= 2**41  # far from those of any ensemble and from the nominal run's


@pytest.mark.parametrize(
    ("changes", "gained", "lost"),
    [
        ({"drive.motors": 1}, set(), {"one motor dead", "motors opposed"}),
        (
            {"drive.kind": "belt", "drive.spool_diameter_mm": REMOVED, "drive.pulley_diameter_mm": 20},
            set(),
            {"string off its pulley", "string broken"},
        ),
        (
            {"sensor": [{"kind": "reflective", "mount_mm": 20}]},
            {"strong light"},
            {"magnet turned over"},
        ),
        (
            {"sensor": [{"kind": "contact", "mount_mm": 20}]},
            {"worn contact"},
            {"magnet turned over", "weak target"},
        ),
    ],
    ids=["one motor", "belt", "reflective", "contact"],
)
def test_a_lift_has_the_faults_that_it_can_have(
    changes: dict[str, Any], gained: set[str], lost: set[str]
) -> None:
    names, plain = ({kind.name for kind in faults_for(lift_with(each))} for each in (changes, {}))
    assert names - plain == gained
    assert plain - names == lost


def test_without_a_sensor_its_faults_do_not_exist() -> None:
    names = {kind.name for kind in faults_for(lift_with({"sensor": [{"kind": "stall"}]}))}
    assert not {name for name in names if "sensor" in name or "reading inverted" in name or "target" in name}


@pytest.fixture(scope="module")
def drawn(steady_setting: Setting) -> dict[str, Any]:
    """Records of all fault runs by the name of the fault."""
    numbers = run_numbers(steady_setting.lift)
    runs = batch(steady_setting, numbers, FaultPlan()).runs
    kinds = faults_for(steady_setting.lift)
    return {kind.name: runs[i * FAULT_RUNS : (i + 1) * FAULT_RUNS] for i, kind in enumerate(kinds)}


def test_each_run_carries_the_fault_that_its_number_stands_for(steady: Lift, drawn: dict[str, Any]) -> None:
    for kind in faults_for(steady):
        assert set(drawn[kind.name].fault.tolist()) == {int(kind.code)}


def test_sizes_fill_their_range(steady: Lift, drawn: dict[str, Any]) -> None:
    for kind in faults_for(steady):
        sizes = drawn[kind.name].fault_size
        assert kind.low <= sizes.min() <= sizes.max() <= kind.high, kind.name
        if kind.high > kind.low:
            # of 64 even draws the outer tenths are both missed less than once in 400
            room = 0.1 * (kind.high - kind.low)
            assert sizes.min() < kind.low + room, kind.name
            assert sizes.max() > kind.high - room, kind.name


def test_faults_are_there_from_the_start_or_come_on_the_way(steady: Lift, drawn: dict[str, Any]) -> None:
    for kind in faults_for(steady):
        onsets = drawn[kind.name].fault_onset_s
        if kind.at_start or kind.place:
            assert set(onsets.tolist()) == {0.0}, kind.name
        else:
            assert 0.0 < onsets.min() < 1.0 < 5.0 < onsets.max() < 6.0, kind.name


def test_places_lie_on_the_travel_or_just_before_the_trip(steady: Lift, drawn: dict[str, Any]) -> None:
    for kind in faults_for(steady):
        runs = drawn[kind.name]
        if kind.place == "anywhere":
            assert runs.fault_height_m.min() < 0.06
            assert runs.fault_height_m.max() > 0.58
        elif kind.place == "near trip":
            ahead_m = runs.fault_height_m - runs.trip_m
            # so that the late time begins anywhere in the way that it covers at the fast speed
            assert np.all(ahead_m >= 0.0)
            assert np.all(ahead_m <= 0.180 * runs.fault_size)


def test_a_strong_light_is_a_share_of_the_threshold() -> None:
    setting = prepare(lift_with({"sensor": [{"kind": "reflective", "name": "bottom", "mount_mm": 20}]}))
    place = [kind.name for kind in faults_for(setting.lift)].index("strong light")
    numbers = FAULT_BASE + FAULT_STEP * place + np.arange(FAULT_RUNS)
    runs = batch(setting, numbers, FaultPlan()).runs
    share = runs.fault_size / runs.operate
    assert 0.3 <= share.min() < 0.4
    assert 0.9 < share.max() <= 1.0


def test_tolerances_and_starts_are_drawn_for_fault_runs_too(drawn: dict[str, Any]) -> None:
    runs = drawn["supply dip"]
    assert len(set(runs.friction_n.tolist())) == FAULT_RUNS
    assert len(set(runs.start_m.tolist())) > 20
