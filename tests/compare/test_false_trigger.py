"""False triggers over the whole travel: side lobes, other things, flips and noise against the simulation
and by hand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from comparelifts import DISC, DISTANCE, STRIP, SWITCH, lift_of

from homing.compare.falsetrigger import bell_tail, false_places_mm, false_trigger_probability
from homing.compare.responses import responses_of
from homing.compare.seen import loops_of
from homing.draws import Start, draw
from homing.liftfile import Lift
from homing.setting import Setting, prepare
from homing.simulate import simulate


def told(lift: Lift) -> float:
    zone_high_m = prepare(lift, 0).zone_m[1]
    speed_m_s = lift.routine.fast_speed_mm_s / 1e3
    return false_trigger_probability(responses_of(lift, 0), zone_high_m, speed_m_s, loops_of(lift))


def simulated(lift: Lift, runs: int = 250) -> float:
    """Share of runs, all from the top of the travel, whose first way down brings a false reading."""
    setting = prepare(lift, 0)
    kinds = draw(lift, 0, np.arange(12 * runs)).start_kind
    from_top = np.flatnonzero(kinds == int(Start.AT_TOP))[:runs]
    seen = [false_on_the_way_down(setting, run) for run in from_top.tolist()]
    came = [each for each in seen if each is not None]
    return sum(came) / len(came)


def false_on_the_way_down(setting: Setting, run: int) -> bool | None:
    """A made reading above the trip zone while coming in; later ways down do not count. None: never came."""
    trace = simulate(setting.lift, run=run, setting=setting).trace
    coming = np.flatnonzero(np.asarray(trace["state"]) == "coming_in")
    if not len(coming):
        return None
    first = coming[: np.argmax(np.diff(coming, append=len(trace) + 2) > 1) + 1]
    made, high = trace["reading_bottom"][first] > 0, trace["carriage_mm"][first] > setting.zone_m[1] * 1e3
    return bool(np.any(made & high))


def test_a_side_lobe_of_an_omnipolar_switch_is_found_as_often_as_in_the_simulation() -> None:
    lift = lift_of(DISC)
    places = false_places_mm(responses_of(lift, 0))
    # the disc's lobes lie on both sides of its window (published: from 8.6 to 17.6 mm beside it at 3.5 mT)
    assert len(places) == 2
    assert places[0][0] == pytest.approx(30 + 8.6, abs=1.0)
    assert places[0][1] == pytest.approx(30 + 18.6, abs=1.5)
    probability, share = told(lift), simulated(lift)
    assert probability > 0.5
    assert share == pytest.approx(probability, abs=3.0 * math.sqrt(0.25 / 250))


def test_a_unipolar_switch_does_not_see_the_lobe() -> None:
    lift = lift_of({**DISC, "part": "hall-unipolar-12mt"})
    assert false_places_mm(responses_of(lift, 0)) == ()
    assert told(lift) == 0.0


def test_what_else_passes_in_front_of_a_reflective_sensor() -> None:
    quiet = lift_of(STRIP)
    assert told(quiet) == 0.0
    bracket = lift_of({**STRIP, "others": [[150, 190, 3, 0.8]]})
    places = false_places_mm(responses_of(bracket, 0))
    assert len(places) == 1
    # half of the spot on it: its edges, to a step of the look and the roundness of the spot
    assert places[0] == pytest.approx((150, 190), abs=1.5)
    assert told(bracket) == pytest.approx(1.0, abs=0.01)
    assert simulated(bracket, 60) == 1.0
    # far behind the strip the same thing is too dark
    assert told(lift_of({**STRIP, "others": [[150, 190, 12, 0.8]]})) == 0.0


def test_flips_come_with_every_reading() -> None:
    lift = lift_of({**SWITCH, "noise_flip_probability": 0.002})
    zone_high_mm, loops = prepare(lift, 0).zone_m[1] * 1e3, loops_of(lift)
    readings = (400 - zone_high_mm) / (150 * loops.mean_s)
    by_hand = 1 - (1 - 0.002) ** readings
    assert told(lift) == pytest.approx(by_hand, rel=0.05)  # the table begins one step above the zone
    share = simulated(lift)
    assert share == pytest.approx(by_hand, abs=3.0 * math.sqrt(by_hand * (1 - by_hand) / 250))


def test_noise_of_an_analog_sensor_lifts_samples_over_the_threshold() -> None:
    calm, noisy = lift_of(DISTANCE), lift_of({**DISTANCE, "noise_mv": 200})
    assert told(calm) < 1e-6
    probability = told(noisy)
    assert 0.02 < probability < 0.999
    share = simulated(noisy)
    assert share == pytest.approx(probability, abs=3.0 * math.sqrt(0.25 / 250))


def test_the_tail_of_the_noise_is_that_of_three_uniforms() -> None:
    drawn = np.random.default_rng(1).uniform(-1, 1, (400_000, 3)).sum(axis=1)
    for z in (-2.0, -0.5, 0.0, 0.7, 1.5, 2.5):
        assert float(bell_tail(np.array(z))) == pytest.approx(float((drawn > z).mean()), abs=0.003)
