"""Logs of simulated lifts whose true numbers are known, for fits and what-ifs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from homing.liftfile import Lift
from homing.report.tracefile import write_trace
from homing.simulate import simulate
from replay.fit_model import LATENCY, Parameter, parameters_of
from replay.log import Log
from replay.reading import read_log

#: Shares of a parameter's width by which true lifts differ from their file (standard deviation), smaller
#: where a lift would no longer come down or no longer stand still at rest.
DUTY_SPREAD = {"lift.friction_n": 0.35, "lift.moving_mass_kg": 0.4}
SPREAD = 0.8


@dataclass(frozen=True)
class Known:
    """A log, the lift file that its builders wrote, and the numbers that are true."""

    log: Log
    file: Lift
    true: dict[str, float]


def duty_lift(example: Lift) -> Lift:
    """The example with a program that sends duties, and shorted windings to stop."""
    return example.replace({"drive.command": "duty", "routine.stop": "shorted"})


def parameters(lift: Lift) -> tuple[Parameter, ...]:
    return parameters_of(lift, measured_supply=True, period_s=lift.controller.period_ms * 1e-3)


def drawn_truth(lift: Lift, seed: int, spread: dict[str, float]) -> dict[str, float]:
    """True numbers around those of the file, within what files are commonly off by."""
    rng = np.random.default_rng(seed)
    true = {}
    for each in parameters(lift):
        off = each.width * float(np.clip(rng.standard_normal(), -2.0, 2.0)) * spread.get(each.key, SPREAD)
        true[each.key] = max(each.prior + off, 0.1 * each.prior)
    name = lift.sensor().name
    true["battery.resistance_ohm"] = lift.battery.resistance_ohm * rng.uniform(0.6, 1.6)
    true["battery.open_circuit_v"] = lift.battery.open_circuit_v + 0.4 * float(rng.standard_normal())
    mount_mm = lift.quantities()[f"sensor.{name}.mount_mm"]
    true[f"sensor.{name}.mount_mm"] = mount_mm + 1.5 * float(rng.standard_normal())
    return true


def traced(lift: Lift, folder: Path, seed: int = 0) -> Log:
    """The nominal run of a lift as ``verify --trace`` writes it, read back."""
    file = write_trace(simulate(lift, seed=seed).trace, folder / f"trace_{seed}.csv")
    return read_log(file).scaled(lift.drive.mm_per_count)


def known(lift: Lift, folder: Path, seed: int, spread: dict[str, float] | None = None) -> Known:
    """A lift that differs from its file, and its log."""
    true = drawn_truth(lift, seed, spread or {})
    return Known(traced(lift.replace(true), folder, seed), lift, true)


__all__ = ["DUTY_SPREAD", "LATENCY", "Known", "drawn_truth", "duty_lift", "known", "parameters", "traced"]
