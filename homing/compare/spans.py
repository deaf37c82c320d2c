"""Settle a candidate's spans ``[low, high]``: the values within them that hold with the most margin.

One span after the other is tried at a few evenly spaced values, the others held where they were best, and all
of them twice over; the same runs serve every trial. This finds a good value, not the best there is: what is
chosen is then studied like any other candidate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from homing.compare.candidates import Candidate, moved
from homing.compare.judged import Judged, Means, judged
from homing.compare.results import Chosen
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Values of a span that are tried, its ends among them.
LEVELS = 5
#: Runs of a trial, the fewest that can show a failure rate of 1 % at all.
SPAN_RUNS = 300
#: Times that all spans are gone through.
ROUNDS = 2

Score = tuple[float, float]


def settle(candidate: Candidate, means: Means) -> tuple[Lift, tuple[Chosen, ...]]:
    """Return the lift of a candidate with its spans settled, and what was chosen.

    Raises
    ------
    InputError
        When no value within the spans gives a lift that can exist.
    """
    if not candidate.spans:
        return candidate.lift, ()
    at = {span.key: (span.low + span.high) / 2 for span in candidate.spans}
    known: dict[tuple[float, ...], Score] = {}

    def score(values: Mapping[str, float]) -> Score:
        place = tuple(values[span.key] for span in candidate.spans)
        if place not in known:
            known[place] = _score(candidate, values, means)
        return known[place]

    for _ in range(ROUNDS if len(candidate.spans) > 1 else 1):
        for span in candidate.spans:
            levels = np.linspace(span.low, span.high, LEVELS).round(6).tolist()
            middle_first = sorted(levels, key=lambda each: abs(each - at[span.key]))
            at[span.key] = max(middle_first, key=lambda each: score({**at, span.key: each}))
    chosen = tuple(Chosen(span.key, span.low, span.high, at[span.key]) for span in candidate.spans)
    return _changed(candidate, at), chosen


def _changed(candidate: Candidate, values: Mapping[str, float]) -> Lift:
    return moved(candidate.lift, {f"sensor.{candidate.name}.{key}": value for key, value in values.items()})


def _score(candidate: Candidate, values: Mapping[str, float], means: Means) -> Score:
    """Larger is better: fewest failing runs first, then the least margin."""
    try:
        trial = judged(_changed(candidate, values), SPAN_RUNS, means)
    except InputError:
        return (-math.inf, -math.inf)
    return (-float(_failures(trial)), float(np.nan_to_num(trial.least_margin, nan=-math.inf)))


def _failures(trial: Judged) -> int:
    """Runs that miss the requirement which most runs miss; all of them where the nominal run does."""
    counts = [
        each.runs if math.isnan(each.nominal) and not each.passed else each.failures
        for each in trial.requirements
    ]
    return max(counts)
