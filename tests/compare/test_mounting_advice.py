"""Mounting advice holds: verify confirms it where it says yes, and refutes what lies outside."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from comparelifts import SWITCH, lift_of

from homing.compare.candidates import candidates_of, moved
from homing.compare.judged import BELIEVED_RUNS, Means, judged, most_failures
from homing.compare.results import MountAdvice
from homing.liftfile import Lift, load_lift
from homing.mounting.advice import advise_mounting
from homing.mounting.study import telling_runs
from homing.verify import verify

SHELVING = Path(__file__).parents[2] / "examples" / "shelving_robot" / "compare_sensors.toml"
RUNS = 1000


@pytest.fixture(scope="module")
def switch() -> Lift:
    return lift_of(SWITCH)


@pytest.fixture(scope="module")
def advised(switch: Lift) -> MountAdvice:
    return advise_mounting(switch, RUNS)


def at(lift: Lift, mount_mm: float) -> Lift:
    return moved(lift, {f"sensor.{lift.sensor().name}.mount_mm": mount_mm})


def check_heights(lift: Lift, advice: MountAdvice, runs: int) -> None:
    assert advice.lowest_mm <= advice.best_mm <= advice.highest_mm
    assert verify(at(lift, advice.best_mm), runs=runs).verdict == "pass"
    for height in (advice.lowest_mm, advice.highest_mm):
        assert judged(at(lift, height), runs, Means()).passed
    below = verify(at(lift, advice.lowest_mm - 3.0), runs=runs)
    assert below.verdict == "fail"
    failing = [result.name for result in below.requirements if not result.passed]
    assert advice.blocking in failing


def test_verify_confirms_the_best_height_and_refutes_3_mm_below_the_lowest(
    switch: Lift, advised: MountAdvice
) -> None:
    check_heights(switch, advised, RUNS)
    assert advised.confirmed_runs == min(RUNS, BELIEVED_RUNS)
    assert math.isnan(advised.needs_slow_zone_mm)


@pytest.mark.slow
def test_the_same_for_the_shelving_robot() -> None:
    candidates = {each.name: each.lift for each in candidates_of(load_lift(SHELVING))}
    for name in ("bar_magnet", "strip_infrared", "roller_lever"):
        advice = advise_mounting(candidates[name], 2000)
        check_heights(candidates[name], advice, 2000)


def test_a_sensor_mounted_too_low_is_told_where_it_belongs(advised: MountAdvice) -> None:
    low = lift_of({**SWITCH, "mount_mm": 3})
    assert not judged(low, RUNS, Means()).passed
    advice = advise_mounting(low, RUNS)
    assert verify(at(low, advice.best_mm), runs=RUNS).verdict == "pass"
    # the file's own height does not change what the lift needs
    assert advice.lowest_mm == pytest.approx(advised.lowest_mm, abs=1.0)


def test_the_fastest_approach_holds_and_a_quarter_more_does_not(switch: Lift, advised: MountAdvice) -> None:
    assert advised.fastest_mm_s >= 150.0
    for factor, passes in ((1.0, True), (1.25, False)):
        changed = switch.replace({"routine.fast_speed_mm_s": factor * advised.fastest_mm_s})
        assert judged(changed, RUNS, Means()).passed is passes


def test_the_terms_on_paper_bound_the_ensemble(advised: MountAdvice) -> None:
    *terms, margin = advised.terms
    assert [term.name for term in terms] == [
        "sensor_age", "filter", "loop", "late_loop", "bus", "drive", "braking", "string", "repeatability",
    ]  # fmt: skip
    assert margin.name == "margin"
    assert math.fsum(term.mm for term in terms) == pytest.approx(advised.needed_mm)
    # every term at its longest at once is rarer than 1 %, and a touch below 40 mm/s is allowed
    assert advised.lowest_mm <= advised.formula_lowest_mm + 0.5
    assert advised.formula_lowest_mm - advised.lowest_mm < 0.5 * advised.needed_mm


def test_where_no_height_helps_a_slow_zone_is_advised_and_confirmed() -> None:
    fast = lift_of(SWITCH, {"routine.fast_speed_mm_s": 420.0, "requirements.overtravel_mm": 15})
    advice = advise_mounting(fast, RUNS)
    assert math.isnan(advice.lowest_mm)
    assert math.isnan(advice.best_mm)
    assert advice.blocking == "overtravel_mm"
    assert "no mounting height" in advice.sentences[0]
    assert advice.needs_slow_zone_mm > 19.0 + 420.0**2 / 8000  # trip height and the ramp at least
    zone = {
        "routine.referenced_at_start": True,
        "routine.slow_zone_mm": advice.needs_slow_zone_mm,
        "routine.creep_speed_mm_s": advice.slow_zone_speed_mm_s,
    }
    assert verify(fast.replace(zone), runs=RUNS).verdict == "pass"
    without = {**zone, "routine.slow_zone_mm": 0.0}
    assert verify(fast.replace(without), runs=RUNS).verdict == "fail"


def test_a_contact_is_never_advised_where_the_carriage_would_crush_it() -> None:
    stiff = lift_of({**SWITCH, "overtravel_to_damage_mm": 20})
    advice = advise_mounting(stiff, RUNS)
    # free to damage: 1 mm pretravel and 20 mm, which the hard stop must come before
    assert advice.highest_mm <= 21.0
    short = advise_mounting(lift_of({**SWITCH, "overtravel_to_damage_mm": 4}), RUNS)
    assert math.isnan(short.best_mm)
    assert "crushed" in short.sentences[0]


def test_the_hard_stop_has_no_height_to_advise() -> None:
    advice = advise_mounting(lift_of({"kind": "stall"}), 300)
    assert math.isnan(advice.best_mm)
    assert "nothing to mount" in advice.sentences[0]


def test_the_advice_does_not_depend_on_the_number_of_cores(switch: Lift, advised: MountAdvice) -> None:
    assert advise_mounting(switch, RUNS, Means(workers=1)).sentences == advised.sentences


def test_telling_runs_hold_those_nearest_to_the_stop(switch: Lift) -> None:
    whole = judged(switch, RUNS, Means())
    telling = telling_runs(whole)
    assert int(np.nanargmin(whole.clearance_mm)) in telling
    assert int(np.nanargmax(whole.ensemble.metrics["overtravel_mm"])) in telling
    assert len(telling) < RUNS // 3


@pytest.mark.parametrize(
    ("runs", "allowed", "most"), [(2000, 0.01, 12), (600, 0.01, 1), (299, 0.01, 0), (100, 0.01, -1)]
)
def test_how_many_failures_still_show_the_rate(runs: int, allowed: float, most: int) -> None:
    assert most_failures(runs, allowed) == most
