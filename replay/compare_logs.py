"""Before and after: the visits of two or more logs, with intervals, and what they prove.

Each log is compared with the first one. A change is proven only where the 95 % intervals do not overlap,
which asks for more than a test of the difference would: with a handful of visits a claim has to be plain.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.diagnosis import Diagnosis, Visit
from replay.intervals import Estimate, mean_interval, share_interval, spread_interval

Floats = NDArray[np.float64]

#: A median speed or battery voltage that differs by more than this share is not the same test: a stop
#: distance goes with the square of the speed, so 10 % of speed are 20 % of braking.
SPEED_SHARE, BATTERY_SHARE = 0.10, 0.03


class Measure(StrEnum):
    """What is compared."""

    OVERTRAVEL = "overtravel_mm"
    OVERRUNS = "overrun_share"
    EDGE_SPREAD = "edge_spread_mm"
    MADE_RATE = "made_share"
    APPROACH_SPEED = "approach_speed_mm_s"
    BATTERY = "battery_v"

    @property
    def words(self) -> str:
        """What it is, with its unit."""
        return _WORDS[self]

    @property
    def share(self) -> bool:
        """It is a share of visits."""
        return self in (Measure.OVERRUNS, Measure.MADE_RATE)


_WORDS = {
    Measure.OVERTRAVEL: "overtravel, mean [mm]",
    Measure.OVERRUNS: "visits past the limit",
    Measure.EDGE_SPREAD: "spread of the edge, standard deviation [mm]",
    Measure.MADE_RATE: "visits in which the sensor was read as made",
    Measure.APPROACH_SPEED: "approach speed, mean [mm/s]",
    Measure.BATTERY: "battery in front of the edge, mean [V]",
}
#: Measures that tell how well the lift stops; the others tell whether the test was the same.
_RESULTS = (Measure.OVERTRAVEL, Measure.OVERRUNS, Measure.EDGE_SPREAD, Measure.MADE_RATE)
#: What needs millimetres; that a visit is past the limit does too.
_LENGTHS = (Measure.OVERTRAVEL, Measure.OVERRUNS, Measure.EDGE_SPREAD, Measure.APPROACH_SPEED)


class Change(StrEnum):
    """What a comparison with the first log shows."""

    FIRST = "first"
    LOWER = "lower"
    HIGHER = "higher"
    NOT_PROVEN = "no_proven_change"
    CANNOT_SAY = "cannot_say"

    @property
    def words(self) -> str:
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Comparison:
    """One measure over all logs: an estimate and a change for each log."""

    measure: Measure
    estimates: tuple[Estimate, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Comparisons:
    """Every measure, the logs compared, warnings, and the whole in a sentence."""

    sources: tuple[str, ...]
    measures: tuple[Comparison, ...]
    warnings: tuple[str, ...]
    headline: str

    def __getitem__(self, measure: Measure) -> Comparison:
        return next(each for each in self.measures if each.measure is measure)


def compare_logs(diagnoses: Sequence[Diagnosis]) -> Comparisons:
    """Compare every log with the first.

    Parameters
    ----------
    diagnoses : sequence of Diagnosis
        One a log, two or more, in the order in which they were logged.

    Raises
    ------
    ValueError
        For fewer than two.
    """
    if len(diagnoses) < 2:
        raise ValueError("two or more logs are needed for a comparison")
    scaled = all(each.scaled for each in diagnoses)
    wanted = [each for each in Measure if scaled or each not in _LENGTHS]
    measures = tuple(_comparison(each, diagnoses) for each in wanted)
    sources = tuple(each.log.source for each in diagnoses)
    warnings = [*_warnings(diagnoses, sources)]
    if not scaled:
        lacking = ", ".join(each.log.source for each in diagnoses if not each.scaled)
        warnings.append(
            f"no scale in mm is known for {lacking} (mm_per_count, or a lift file): lengths, speeds and "
            "visits past the limit cannot be compared"
        )
    return Comparisons(sources, measures, tuple(warnings), _headline(measures, sources))


def _comparison(measure: Measure, diagnoses: Sequence[Diagnosis]) -> Comparison:
    estimates = tuple(_MAKERS[measure](each) for each in diagnoses)
    changes = tuple(_change(estimates[0], each) for each in estimates[1:])
    return Comparison(measure, estimates, (Change.FIRST, *changes))


def _change(first: Estimate, other: Estimate) -> Change:
    if any(math.isnan(bound) for bound in (first.low, first.high, other.low, other.high)):
        return Change.CANNOT_SAY
    if other.high < first.low:
        return Change.LOWER
    return Change.HIGHER if other.low > first.high else Change.NOT_PROVEN


def _values(pick: Callable[[Visit], float]) -> Callable[[Diagnosis], Floats]:
    def values(diagnosis: Diagnosis) -> Floats:
        found = np.array([pick(each) for each in diagnosis.visits], dtype=np.float64)
        return found[np.isfinite(found)]

    return values


def _edges(diagnosis: Diagnosis) -> Floats:
    return np.array(diagnosis.edge_chart.edges)


_OVERTRAVEL = _values(lambda visit: visit.overtravel)
_SPEED = _values(lambda visit: visit.approach_speed)
_BATTERY = _values(lambda visit: visit.battery_v)

_MAKERS: dict[Measure, Callable[[Diagnosis], Estimate]] = {
    Measure.OVERTRAVEL: lambda d: mean_interval(_OVERTRAVEL(d)),
    Measure.OVERRUNS: lambda d: share_interval([v.overtravel > d.limit_mm for v in d.visits]),
    Measure.EDGE_SPREAD: lambda d: spread_interval(_edges(d)),
    Measure.MADE_RATE: lambda d: share_interval([v.made for v in d.visits]),
    Measure.APPROACH_SPEED: lambda d: mean_interval(_SPEED(d)),
    Measure.BATTERY: lambda d: mean_interval(_BATTERY(d)),
}


def _warnings(diagnoses: Sequence[Diagnosis], sources: Sequence[str]) -> list[str]:
    """Where the logs are not the same test, so that what changed may not be what was changed."""
    found = []
    compared = [("battery voltage", "V", _BATTERY, BATTERY_SHARE)]
    if all(each.scaled for each in diagnoses):
        compared.insert(0, ("approach speed", "mm/s", _SPEED, SPEED_SHARE))
    for what, unit, values, share in compared:
        medians = [float(np.median(v)) if len(v) else math.nan for v in map(values, diagnoses)]
        for source, median in zip(sources[1:], medians[1:], strict=True):
            if abs(median - medians[0]) > share * abs(medians[0]):
                found.append(
                    f"the {what} differs: median {medians[0]:.4g} {unit} in {sources[0]}, "
                    f"{median:.4g} {unit} in {source}; a change may come from that alone"
                )
    limits = {each.limit_mm for each in diagnoses if each.scaled}
    return found if len(limits) <= 1 else [*found, "the logs were judged by different overtravel limits"]


def _headline(measures: Sequence[Comparison], sources: Sequence[str]) -> str:
    proven = [
        f"{each.measure.words.split(',')[0].split(' [')[0]} {change.words} in {source}"
        for each in measures
        if each.measure in _RESULTS
        for source, change in zip(sources, each.changes, strict=True)
        if change in (Change.LOWER, Change.HIGHER)
    ]
    if proven:
        return f"proven against {sources[0]}: {'; '.join(proven)}"
    if not any(each.measure in (Measure.OVERTRAVEL, Measure.OVERRUNS) for each in measures):
        return "no proven change in the rest; whether it stops better cannot be said without a scale in mm"
    return "no proven change: the intervals overlap, or there are too few visits for an interval"


def comparisons_json(comparisons: Comparisons) -> dict[str, Any]:
    """The comparison as plain values for the JSON document; NaN becomes None."""

    def number(value: float) -> float | None:
        return round(value, 6) if math.isfinite(value) else None

    return {
        "logs": list(comparisons.sources),
        "measures": [
            {
                "measure": each.measure.value,
                "values": [
                    {
                        "value": number(e.value),
                        "low": number(e.low),
                        "high": number(e.high),
                        "visits": e.visits,
                    }
                    for e in each.estimates
                ],
                "change": [change.value for change in each.changes],
            }
            for each in comparisons.measures
        ],
        "warnings": list(comparisons.warnings),
        "summary": comparisons.headline,
    }
