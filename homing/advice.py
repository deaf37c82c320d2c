"""What to change, and by how much, found by trying it.

A lever is one setting moved one way, useful against some requirements. It is moved in steps until all
requirements hold on a smaller ensemble (the nominal run alone is asked first, it costs nothing), then
bisection finds the smallest change that still does. If no lever helps alone, pairs are tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from homing.ensemble import as_ensemble, nominal_ensemble, run_many
from homing.kernel.codes import Order
from homing.requirements import judge
from homing.setting import prepare
from homing.statistics import runs_needed, upper_bound
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import RequirementResult

#: Runs of a trial: twice what is needed to show 1 % without a failure.
TRIAL_RUNS = 600
#: Parts of a lever's way that are tried, and halvings between the last two.
PARTS = (0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 1.0)
HALVINGS = 3
#: Parts of the first lever's way that are tried when two are pulled.
FIRST_PARTS = (0.25, 0.5, 0.75, 1.0)
#: Sentences are for reading: no more ways out than these.
WAYS_OUT = 3

#: Below this share of the allowed rate a failing share is put down to too few runs.
UNDECIDED_SHARE = 0.5
#: Trials in all, so that an answer comes within seconds and does not depend on the machine's speed.
MOST_TRIALS = 40

RUNS_PAST = ("overtravel_mm", "impact_speed_mm_s", "slack_mm")
CURRENT = ("peak_current_a",)
TOO_SLOW = ("time_to_zero_s",)


def more_runs(failing: Sequence[RequirementResult], allowed: float) -> int | None:
    """Runs that would decide, if what falls short does so only for want of runs; None otherwise.

    So it is when the nominal run keeps the limit and the share that failed is one that may fail.
    """
    rates = [result.failures / result.runs for result in failing]
    kept = all(abs(result.nominal) <= result.limit for result in failing)
    if not kept or max(rates) > UNDECIDED_SHARE * allowed:
        return None
    runs = runs_needed(allowed, failing[0].confidence)
    while upper_bound(round(max(rates) * runs), runs, failing[0].confidence) > allowed:
        runs = round(1.25 * runs)
    return runs


@dataclass(frozen=True)
class Lever:
    """One setting that may be moved; ``factor`` of it, or ``add`` in its own unit, at the far end."""

    key: str
    words: str
    against: tuple[str, ...]
    factor: float = 1.0
    add: float = 0.0
    step: float = 1.0

    def at(self, nominal: float, part: float) -> float:
        """The setting moved by a part (0..1) of the way, rounded away from nominal to its step."""
        wanted = nominal * (1.0 + (self.factor - 1.0) * part) + self.add * part
        rounding = np.ceil if wanted > nominal else np.floor
        return float(rounding(round(wanted / self.step, 6)) * self.step)

    def say(self, nominal: float, part: float) -> str:
        value = self.at(nominal, part)
        return self.words.format(value=value, change=value - nominal)


def levers(lift: Lift) -> tuple[Lever, ...]:
    """What a builder can move on this lift, the most usual first."""
    mount = f"sensor.{lift.sensor().name}.mount_mm"
    return (
        *_own_speed_levers(lift),
        Lever("routine.fast_speed_mm_s", "slow to {value:g} mm/s", RUNS_PAST, factor=0.15, step=5.0),
        Lever(mount, "raise the sensor {change:g} mm", RUNS_PAST, add=60.0, step=0.5),
        Lever("routine.creep_speed_mm_s", "creep at {value:g} mm/s", ("zero_error_mm",), factor=0.3),
        Lever("routine.creep_speed_mm_s", "creep at {value:g} mm/s", TOO_SLOW, factor=3.0),
        Lever("routine.fast_speed_mm_s", "come in at {value:g} mm/s", TOO_SLOW, factor=3.0, step=5.0),
        Lever("routine.back_off_mm", "back off {value:g} mm", ("time_to_zero_s", "zero_error_mm"), add=20.0),
        Lever("routine.no_motion_ms", "allow {value:g} ms without motion", TOO_SLOW, factor=5.0, step=10.0),
        Lever("routine.timeout_s", "allow {value:g} s a phase", TOO_SLOW, factor=8.0, step=0.5),
        Lever("drive.acceleration_mm_s2", "accelerate with {value:g} mm/s2", CURRENT, factor=0.2, step=50.0),
        Lever("drive.current_limit_a", "limit the current to {value:g} A", CURRENT, factor=0.3, step=0.5),
    )  # fmt: skip


def _own_speed_levers(lift: Lift) -> tuple[Lever, ...]:
    """The ways in of a team's own table, each to be made slower."""
    phases = lift.own_routine.phases if lift.own_routine is not None else ()
    return tuple(
        Lever(
            f"routine.phase.{phase.name}.{phase.key}",
            f"let {phase.name} run at {{value:g}} {'mm/s' if phase.order is Order.SPEED else 'duty'}",
            RUNS_PAST,
            factor=0.15,
            step=5.0 if phase.order is Order.SPEED else 0.01,
        )
        for phase in phases
        if phase.value < 0.0
    )


def advise(lift: Lift, failing: Sequence[str], seed: int, workers: int | None = None) -> str:
    """One sentence: what to change and by how much so that all requirements hold.

    Parameters
    ----------
    lift : Lift
        One that falls short.
    failing : sequence of str
        Names of the requirements that fail.
    seed : int
    workers : int, optional

    Returns
    -------
    str
        Such as "Slow to 230 mm/s, or raise the sensor 6 mm."; says so when nothing tried helps.
    """
    trial = _Trial(lift, seed, workers)
    known = [lever for lever in levers(lift) if lever.key in trial.numbers]
    useful = [lever for lever in known if set(lever.against) & set(failing)]
    ways = [words for lever in useful if (words := trial.alone(lever))]
    if not ways:
        ways = [words for pair in combinations(useful, 2) if (words := trial.together(*pair))][:1]
    if not ways:
        return (
            "No change of speed, mounting height or back-off that was tried makes all requirements hold; "
            "look at the requirement that fails first and at the fault that resembles it. "
            "`downstop tune` searches all settings of the routine."
        )
    sentence = ", or ".join(ways[:WAYS_OUT])
    return f"{sentence[0].upper()}{sentence[1:]} (found by trying it on {TRIAL_RUNS} runs)."


class _Trial:
    """Tries changed lifts, a limited number of times."""

    def __init__(self, lift: Lift, seed: int, workers: int | None) -> None:
        self.lift, self.seed, self.workers = lift, seed, workers
        self.numbers = lift.quantities()
        self.left = MOST_TRIALS

    def alone(self, lever: Lever) -> str:
        part = self._smallest(lever, {})
        return lever.say(self.numbers[lever.key], part) if part > 0.0 else ""

    def together(self, first: Lever, second: Lever) -> str:
        """The first lever a quarter to all of the way, the second as far as it then needs."""
        if first.key == second.key:
            return ""
        nominal = self.numbers[first.key]
        for part in FIRST_PARTS:
            rest = self._smallest(second, {first.key: first.at(nominal, part)})
            if rest > 0.0:
                return f"{first.say(nominal, part)} and {second.say(self.numbers[second.key], rest)}"
        return ""

    def _smallest(self, lever: Lever, also: dict[str, float]) -> float:
        """Smallest part of the lever's way that makes everything hold; 0 if none does."""
        enough = next((part for part in PARTS if self._holds(lever, part, also)), 0.0)
        too_little = max((part for part in (0.0, *PARTS) if part < enough), default=0.0)
        for _ in range(HALVINGS if enough else 0):
            middle = 0.5 * (too_little + enough)
            if self._holds(lever, middle, also):
                enough = middle
            else:
                too_little = middle
        return enough

    def _holds(self, lever: Lever, part: float, also: dict[str, float]) -> bool:
        """Whether all requirements hold on a smaller ensemble; the nominal run alone is asked first."""
        if self.left == 0:
            return False
        value = lever.at(self.numbers[lever.key], part)
        try:
            lift = self.lift.replace({**also, lever.key: value})
            setting = prepare(lift, self.seed)
        except InputError:
            return False  # a lift that cannot be built is no way out
        nominal = nominal_ensemble(setting)
        if any(result.failures for result in judge(lift, nominal, nominal)):
            return False
        self.left -= 1
        indices = np.arange(TRIAL_RUNS, dtype=np.int64)
        ensemble = as_ensemble(setting, indices, run_many(setting, indices, workers=self.workers))
        return all(result.passed for result in judge(lift, nominal, ensemble))
