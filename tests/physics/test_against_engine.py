"""The same lift in a general physics engine, with the same commands at the same instants.

Source: MuJoCo, model in ``engine_lift``. What differs, and why:

- Away from the stops both are the same mechanics, and the engine's answer tends to ours as its step falls:
  it steps at first order (semi-implicit Euler), so a fifth of the step leaves a fifth of the difference.
  At 1 ms the stop distance is 0.01 to 0.04 mm off, at 0.05 ms 0.002 mm or less.
- A body held by dry friction creeps a little in the engine, where friction is a soft constraint; ours is
  stuck. With the constraint made as stiff as the step allows this stays below the difference above.
- The stop is another law: the engine's limit is a linear spring and damper, scaled by the masses, on which
  a resting carriage sinks in less; ours has the exact restitution. A lift that runs onto its stop differs
  by about 0.2 mm in depth and after the bounce, whatever the step; one that starts or leans on a stop
  differs by the depth to which its load presses it in, up to 1.2 mm at the upper stop (not sampled here).
- Gear efficiency is 1 on both sides: a loss that depends on who drives whom is not something the engine has.
"""

from __future__ import annotations

import numpy as np
import pytest
from engine_lift import engine_run
from lifts import lift_of
from ode_loop import CARRIAGE, kernel_run

from homing.batches import Batch, batch
from homing.draws import Start
from homing.setting import Setting, prepare

IDEAL_GEAR = {"drive": {"gear_efficiency": 1.0}}


def sampled(kind: str, starts: tuple[Start, ...], count: int) -> tuple[Setting, Batch, list[int]]:
    setting = prepare(lift_of(kind, IDEAL_GEAR), seed=11)
    runs = batch(setting, np.arange(64))
    return setting, runs, [i for i in range(64) if runs.start_kind[i] in starts][:count]


def differences_mm(setting: Setting, runs: Batch, i: int, step_s: float) -> tuple[float, float]:
    """Stop distance, and the largest difference of the carriage at any loop."""
    kernel = kernel_run(setting, runs, i)
    engine = engine_run(setting, runs, i, kernel, step_s)
    stop = abs(kernel.result["stop_distance_m"] - max(engine.measure.distances_m))
    return 1000 * stop, 1000 * float(np.abs(engine.states[:, 2] - kernel.trace[:, CARRIAGE]).max())


def test_clear_of_the_stops_the_engine_tends_to_the_same_path() -> None:
    setting, runs, chosen = sampled("string", (Start.NOMINAL, Start.ABOVE_WINDOW), 4)
    coarse = np.array([differences_mm(setting, runs, i, 5e-4) for i in chosen])
    fine = np.array([differences_mm(setting, runs, i, 1e-4) for i in chosen])
    assert fine[:, 0].max() < 0.006
    assert fine[:, 1].max() < 0.03
    assert np.median(fine[:, 0] / coarse[:, 0]) == pytest.approx(0.2, abs=0.05)


def test_onto_the_stop_the_two_contact_laws_differ_by_a_fraction_of_a_millimetre() -> None:
    setting, runs, chosen = sampled("runs into the stop", (Start.NOMINAL, Start.ABOVE_WINDOW), 4)
    for i in chosen:
        stop_mm, path_mm = differences_mm(setting, runs, i, 2.5e-4)
        assert stop_mm < 0.4
        assert path_mm < 1.0
