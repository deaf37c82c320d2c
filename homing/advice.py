"""What to change, and by how much, found by trying it.

Each lever is one setting moved one way. Its far end is tried first on a smaller ensemble; if that
holds all requirements, bisection finds the smallest change that still does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.requirements import judge
from homing.simulate import prepare
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Runs of a trial: twice what is needed to show 1 % without a failure.
TRIAL_RUNS = 600
#: Halvings between "too little" and "enough": the change is then known to a fiftieth of its range.
HALVINGS = 5


@dataclass(frozen=True)
class Lever:
    """One setting that may be moved; ``far`` as a factor of it, or as an addition in its own unit."""

    key: str
    words: str
    factor: float = 1.0
    add: float = 0.0
    step: float = 1.0

    def at(self, nominal: float, part: float) -> float:
        """The setting moved by a part (0..1) of the way, rounded away from nominal to its step."""
        wanted = nominal * (1.0 + (self.factor - 1.0) * part) + self.add * part
        rounding = np.ceil if wanted > nominal else np.floor
        return float(rounding(round(wanted / self.step, 6)) * self.step)


def levers(lift: Lift) -> tuple[Lever, ...]:
    """What a builder can move on this lift."""
    sensor = f"sensor.{lift.sensor().name}"
    return (
        Lever("routine.fast_speed_mm_s", "slow to {value:g} mm/s", factor=0.2, step=5.0),
        Lever(f"{sensor}.mount_mm", "raise the sensor {change:g} mm", add=60.0, step=0.5),
        Lever("routine.creep_speed_mm_s", "creep at {value:g} mm/s", factor=0.3, step=1.0),
        Lever("routine.creep_speed_mm_s", "creep at {value:g} mm/s", factor=2.5, step=1.0),
        Lever("routine.fast_speed_mm_s", "come in at {value:g} mm/s", factor=2.0, step=5.0),
        Lever("routine.no_motion_ms", "allow {value:g} ms without motion", factor=5.0, step=10.0),
        Lever("routine.back_off_mm", "back off {value:g} mm", add=20.0, step=1.0),
        Lever("requirements.time_to_zero_s", "allow {value:g} s", factor=3.0, step=0.5),
    )


def holds(lift: Lift, seed: int, workers: int | None) -> bool:
    """Whether all requirements hold on a smaller ensemble of this lift."""
    setting = prepare(lift, seed)
    indices = np.arange(TRIAL_RUNS, dtype=np.int64)
    ensemble = as_ensemble(setting, indices, run_many(setting, indices, workers=workers))
    return all(result.passed for result in judge(lift, nominal_ensemble(setting), ensemble))


def advise(lift: Lift, seed: int, workers: int | None = None) -> str:
    """One sentence: what to change and by how much so that all requirements hold.

    Parameters
    ----------
    lift : Lift
        One that falls short.
    seed : int
    workers : int, optional

    Returns
    -------
    str
        Such as "Slow to 230 mm/s, or raise the sensor 6 mm."; says so when no single change helps.
    """
    found = [words for lever in levers(lift) if (words := _try(lever, lift, seed, workers))]
    if not found:
        return (
            "No single change of speed, mounting height, back-off or creep speed makes all requirements hold; "
            "look at the requirement that fails first and at the fault that resembles it."
        )
    sentence = ", or ".join(found[:3])
    return sentence[0].upper() + sentence[1:] + f" (each found by trying it on {TRIAL_RUNS} runs)."


def _try(lever: Lever, lift: Lift, seed: int, workers: int | None) -> str:
    nominal = lift.quantities().get(lever.key)
    if nominal is None or not _works(lever, lift, nominal, 1.0, seed, workers):
        return ""
    too_little, enough = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = 0.5 * (too_little + enough)
        if _works(lever, lift, nominal, middle, seed, workers):
            enough = middle
        else:
            too_little = middle
    value = lever.at(nominal, enough)
    return lever.words.format(value=value, change=value - nominal)


def _works(lever: Lever, lift: Lift, nominal: float, part: float, seed: int, workers: int | None) -> bool:
    try:
        return holds(lift.replace({lever.key: lever.at(nominal, part)}), seed, workers)
    except InputError:
        return False
