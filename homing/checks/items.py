"""What a check is before it has its place in the list, and the facts of one lift that checks ask for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from homing.draws import Start
from homing.statistics import quantiles

if TYPE_CHECKING:
    from homing.results import Verification

#: Finest parts of a ruler, a log and a meter.
STEPS = {"mm": 0.1, "ms": 1.0, "V": 0.1}
#: How long something is watched [s], and how far out a height is compared [mm]. Own choice.
WATCHED_S, COMPARED_MM = 5.0, 100.0
NAN = math.nan


@dataclass(frozen=True)
class Limit:
    """Limits in a unit, rounded inwards, and in words."""

    low: float
    high: float
    unit: str
    words: str


@dataclass(frozen=True)
class Item:
    """A check before it has its place; what it guards are names of faults, requirements and tolerances."""

    title: str
    do: str
    limit: Limit
    seconds: float
    origin: str
    faults: tuple[str, ...] = ()
    requirements: tuple[str, ...] = ()
    tolerances: tuple[str, ...] = ()
    safety: bool = False


class Facts:
    """What the checks ask of a verification."""

    def __init__(self, verification: Verification) -> None:
        self.verification = verification
        self.lift = verification.lift
        self.view = verification.sensor
        self.numbers = verification.lift.quantities()
        self.sensor = verification.lift.sensor()
        self.kind = self.sensor.kind
        self.results = {result.name: result for result in verification.requirements}
        self.bands = {each.key: (each.low, each.high) for each in verification.lift.tolerances}

    def key(self, name: str) -> str:
        """Full key of one of the sensor's."""
        return f"sensor.{self.sensor.name}.{name}"

    def from_start(self, metric: str) -> float:
        """What 99 % of the runs from the nominal start keep; NaN without such runs."""
        ensemble = self.verification.ensemble
        (value,) = quantiles(ensemble.metrics[metric][ensemble.start == Start.NOMINAL], (0.99,))
        return value


def between(low: float, high: float, unit: str) -> Limit:
    """From low to high."""
    low, high = _up(low, unit), _down(high, unit)
    return Limit(low, high, unit, f"{_text(low, unit)} to {_text(high, unit)} {unit}")


def at_most(high: float, unit: str) -> Limit:
    """Not more than high."""
    high = _down(high, unit)
    return Limit(NAN, high, unit, f"at most {_text(high, unit)} {unit}")


def at_least(low: float, unit: str) -> Limit:
    """Not less than low."""
    low = _up(low, unit)
    return Limit(low, NAN, unit, f"at least {_text(low, unit)} {unit}")


def answer(words: str) -> Limit:
    """A check that is answered with yes or no."""
    return Limit(NAN, NAN, "", words)


def _up(value: float, unit: str) -> float:
    """Rounded up to what can be read off; what is a whole number but for rounding stays."""
    return math.ceil(value / STEPS[unit] - 1e-9) * STEPS[unit]


def _down(value: float, unit: str) -> float:
    return math.floor(value / STEPS[unit] + 1e-9) * STEPS[unit]


def _text(value: float, unit: str) -> str:
    return f"{value:.0f}" if unit == "ms" else f"{value:.1f}"
