"""Requirements held against the nominal run and against the ensemble.

A requirement passes when the nominal run meets its limit and the one-sided 95 % upper bound of its
failure rate is at most the allowed rate. Too few runs to show that fails, and says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.results import Ensemble, RequirementResult
from homing.statistics import lower_bound, quantiles, runs_needed, upper_bound

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Requirement:
    """A limit on one metric.

    ``absolute``: the size counts, not the sign. ``missing_fails``: a run without the metric fails
    (never zeroed fails the time to zero).
    """

    name: str
    unit: str
    absolute: bool = False
    missing_fails: bool = False


REQUIREMENTS: tuple[Requirement, ...] = (
    Requirement("overtravel_mm", "mm"),
    Requirement("impact_speed_mm_s", "mm/s"),
    Requirement("slack_mm", "mm"),
    Requirement("zero_error_mm", "mm", absolute=True),
    Requirement("time_to_zero_s", "s", missing_fails=True),
    Requirement("accepted_false_triggers", "per run"),
    Requirement("peak_current_a", "A"),
    Requirement("moving_at_end", "per run"),
)

#: Names of the fixed requirements.
FIXED_NAMES = tuple(requirement.name for requirement in REQUIREMENTS)


def requirements_for(lift: Lift) -> tuple[Requirement, ...]:
    """The requirements that exist for a lift: no slack without string."""
    return tuple(r for r in REQUIREMENTS if r.name != "slack_mm" or lift.string is not None)


def limit_of(lift: Lift, requirement: Requirement) -> float:
    """Limit in the metric's unit; standing still at the end is not up for choice."""
    if requirement.name == "moving_at_end":
        return 0.0
    return float(getattr(lift.requirements, requirement.name))


def values_of(requirement: Requirement, ensemble: Ensemble) -> Floats:
    """The metric of every run, (n,), as it is compared with the limit."""
    if requirement.name == "moving_at_end":
        return ensemble.moving_at_end.astype(np.float64)
    values = ensemble.metrics[requirement.name]
    return np.abs(values) if requirement.absolute else values


def failing(requirement: Requirement, values: Floats, limit: float) -> NDArray[np.bool_]:
    """Which runs fail, (n,)."""
    over = np.nan_to_num(values, nan=-np.inf) > limit
    return over | np.isnan(values) if requirement.missing_fails else over


def judge(lift: Lift, nominal: Ensemble, ensemble: Ensemble) -> tuple[RequirementResult, ...]:
    """Hold every requirement of a lift against its nominal run (an ensemble of one) and its ensemble."""
    return tuple(_judge_one(lift, each, nominal, ensemble) for each in requirements_for(lift))


def _judge_one(
    lift: Lift, requirement: Requirement, nominal: Ensemble, ensemble: Ensemble
) -> RequirementResult:
    limit = limit_of(lift, requirement)
    return result_of(
        lift, requirement, limit, values_of(requirement, nominal), values_of(requirement, ensemble)
    )


def result_of(
    lift: Lift, requirement: Requirement, limit: float, at_nominal: Floats, values: Floats
) -> RequirementResult:
    """One requirement held against its value in the nominal run, (1,), and in all runs, (n,)."""
    allowed = lift.requirements.allowed_failure_rate
    bad = failing(requirement, values, limit)
    failures, runs = int(bad.sum()), len(values)
    low = lower_bound(failures, runs, CONFIDENCE)
    high = upper_bound(failures, runs, CONFIDENCE)
    nominal_ok = not bool(failing(requirement, at_nominal, limit)[0])
    median, p95, p99 = quantiles(values, (0.5, 0.95, 0.99))
    worst_run = _worst_run(requirement, values)
    return RequirementResult(
        name=requirement.name,
        unit=requirement.unit,
        limit=limit,
        nominal=float(at_nominal[0]),
        median=median,
        p95=p95,
        p99=p99,
        worst=float(values[worst_run]) if worst_run is not None else float("nan"),
        worst_run=worst_run,
        failures=failures,
        runs=runs,
        failure_probability=failures / runs,
        ci_low=low,
        ci_high=high,
        confidence=CONFIDENCE,
        margin=limit - p99,
        passed=nominal_ok and high <= allowed,
        why=_why(requirement, limit, nominal_ok, failures, runs, high, allowed, bad),
    )


def _worst_run(requirement: Requirement, values: Floats) -> int | None:
    """Run with the largest value; where a missing value fails, the first run without one."""
    missing = np.isnan(values)
    if requirement.missing_fails and missing.any():
        return int(np.flatnonzero(missing)[0])
    return None if missing.all() else int(np.nanargmax(values))


def _why(
    requirement: Requirement, limit: float, nominal_ok: bool, failures: int, runs: int, high: float,
    allowed: float, bad: NDArray[np.bool_],
) -> str:  # fmt: skip
    """Why a requirement falls short, in a sentence; empty when it passes."""
    if not nominal_ok:
        return f"the nominal run itself misses the limit of {limit:g} {requirement.unit}"
    if high <= allowed:
        return ""
    needed = runs_needed(allowed, CONFIDENCE)
    if runs < needed:
        return f"{runs} runs are too few: at least {needed} without a failure are needed to show {allowed:g}"
    return f"{failures} of {runs} runs fail; the rate may be as high as {high:.2%}, allowed is {allowed:.2%}"
