"""What the studies hand over: plain values in the units of the contract (mm, s, A).

Results do not print or draw themselves; ``homing.report`` takes them.
A quantity that does not exist in a run (never stopped, never zeroed) is NaN here and null in JSON.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from homing.assumed import Assumed
    from homing.liftfile import Lift
    from homing.routine import Table

Floats = NDArray[np.float64]


class Outcome(IntEnum):
    """How a run ended, as the contract defines it."""

    ZEROED = 0
    FAULTED = 1
    UNSAFE = 2

    @property
    def word(self) -> str:
        return self.name.lower()


#: Every per-run metric, in the order of the columns of ``Ensemble.metrics``.
METRICS: tuple[str, ...] = (
    "time_to_zero_s",
    "trip_mm",
    "stop_distance_mm",
    "overtravel_mm",
    "impact_speed_mm_s",
    "slack_mm",
    "return_slack_mm",
    "zero_error_mm",
    "false_triggers",
    "accepted_false_triggers",
    "missed_triggers",
    "peak_current_a",
)

#: Parts of the stop budget, in the order in which they are spent.
BUDGET_PARTS: tuple[str, ...] = (
    "sensor_age",
    "reading_delay",
    "loop_wait",
    "late_loop",
    "drive_delay",
    "braking",
    "string",
)


@dataclass(frozen=True)
class Stop:
    """One inward stop: where the carriage tripped, how deep it went, and where the millimetres went."""

    trip_mm: float
    deepest_mm: float
    distance_mm: float
    budget_mm: Mapping[str, float]


@dataclass(frozen=True)
class Trace:
    """One row a controller tick; column names are those of ``--trace`` in the contract."""

    columns: Mapping[str, NDArray[Any]]

    def __getitem__(self, name: str) -> NDArray[Any]:
        return self.columns[name]

    def __len__(self) -> int:
        return len(self.columns["t_s"])


@dataclass(frozen=True)
class Run:
    """One simulated run with its metrics (names of ``METRICS``), its stops and its trace."""

    seed: int
    index: int | None
    outcome: Outcome
    reason: str
    metrics: Mapping[str, float]
    stops: tuple[Stop, ...]
    trace: Trace
    start: str = "nominal"

    @property
    def budget_mm(self) -> Mapping[str, float]:
        """Budget of the stop that counts: the longest of the run; empty if there was none."""
        return max(self.stops, key=lambda stop: stop.distance_mm).budget_mm if self.stops else {}


@dataclass(frozen=True)
class Ensemble:
    """Metrics of many runs, one row a run; ``metrics[name]`` is (n,), NaN where it does not exist.

    ``reason`` holds numbers (0: none) whose meaning ``reason_texts`` tells.
    """

    seed: int
    metrics: Mapping[str, Floats]
    outcome: NDArray[np.int8]
    reason: NDArray[np.int16]
    start: NDArray[np.int8]
    moving_at_end: NDArray[np.bool_]
    reason_texts: Mapping[int, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.outcome)

    def share(self, outcome: Outcome) -> float:
        """Share of the runs that ended so, 0 to 1."""
        return float(np.mean(self.outcome == outcome)) if len(self) else 0.0


@dataclass(frozen=True)
class RequirementResult:
    """One requirement held against the nominal run and the ensemble."""

    name: str
    unit: str
    limit: float
    nominal: float
    median: float
    p95: float
    p99: float
    worst: float
    worst_run: int | None
    failures: int
    runs: int
    failure_probability: float
    ci_low: float
    ci_high: float
    confidence: float
    margin: float
    passed: bool
    why: str = ""


@dataclass(frozen=True)
class FaultResult:
    """One injected fault over its runs; outcome and figures are the worst of them."""

    fault: str
    alters: str
    outcome: Outcome
    detected: bool
    shares: Mapping[str, float]
    overtravel_mm: float
    slack_mm: float
    zero_error_mm: float
    common_reason: str
    unguarded_unsafe: int
    unguarded_unsafe_now_faulted: int
    runs: int


@dataclass(frozen=True)
class SensorView:
    """The response of the routine's sensor along the travel, nominal and over the tolerances.

    ``zones_mm`` are the nominal x-ranges in which it would be made on the way in; the first is the
    main window, the others are other places (side lobes and the like).
    """

    name: str
    kind: str
    quantity: str
    unit: str
    x_mm: Floats
    signal: Floats
    signal_low: Floats
    signal_high: Floats
    operate: float
    release: float
    trip_mm: float
    release_mm: float
    hysteresis_mm: float
    window_mm: tuple[float, float]
    trip_band_mm: tuple[float, float]
    trip_zone_mm: tuple[float, float]
    zones_mm: tuple[tuple[float, float], ...]
    never_seen_share: float
    miss: str = ""


@dataclass(frozen=True)
class Verification:
    """All that ``downstop verify`` found; ``table`` is None where a ``program`` was the controller."""

    lift: Lift
    seed: int
    table: Table | None
    requirements: tuple[RequirementResult, ...]
    nominal: Run
    ensemble: Ensemble
    worst_runs: tuple[Run, ...]
    faults: tuple[FaultResult, ...]
    diagnostic_coverage: float | None
    zero_scatter_mm: float
    sensor: SensorView | None
    advice: tuple[str, ...]
    assumed: tuple[Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())
    program: str | None = None

    @property
    def passed(self) -> bool:
        return all(requirement.passed for requirement in self.requirements)

    @property
    def verdict(self) -> str:
        return "pass" if self.passed else "fail"
