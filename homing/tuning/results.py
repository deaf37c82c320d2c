"""What ``tune`` hands over: plain values in the units of the contract.

Results do not print or draw themselves; ``homing.report`` takes them. NaN: it does not exist.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from homing.assumed import Assumed
    from homing.liftfile import Lift
    from homing.results import Ensemble, RequirementResult


class Stopped(Enum):
    """Why the search came to its end."""

    CONVERGED = "nothing better was found for several rounds"
    TIME = "its time was over"
    EVALUATIONS = "all trials asked for were made"
    INTERRUPTED = "it was interrupted"

    @property
    def word(self) -> str:
        return self.name.lower()


@dataclass(frozen=True)
class Point:
    """Settings and what they gave over runs on which they were searched or chosen.

    Attributes
    ----------
    settings : mapping
        Keys below ``[routine]`` in the file's units; of an own table ``phase.NAME.speed_mm_s`` and
        ``row.NUMBER.when.WORD``.
    time_to_zero_s, time_to_zero_s_p99 : float
        Median and 99 % of the runs that zeroed.
    overtravel_mm_p99 : float
    margin : float
        Smallest relative margin of the requirements which these settings can move.
    active : str
        The requirement which that is.
    """

    settings: Mapping[str, float]
    time_to_zero_s: float
    time_to_zero_s_p99: float
    overtravel_mm_p99: float
    margin: float
    active: str


@dataclass(frozen=True)
class Guard:
    """A guard set by rule: what the neediest healthy run took, times a factor, rounded up to a step.

    ``also`` are other keys that take the same value, ``room`` is the least that is added instead; ``kept``:
    what the file has is more, and stays.
    """

    key: str
    needed: float
    factor: float
    value: float
    words: str
    also: tuple[str, ...] = ()
    room: float = 0.0
    kept: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys that it sets, its own first."""
        return (self.key, *self.also)

    @property
    def by_room(self) -> bool:
        """Whether the least room, and not the factor, gave the value."""
        return self.room > (self.factor - 1.0) * self.needed


@dataclass(frozen=True)
class Proof:
    """One set of settings over fresh runs, which had no part in choosing it.

    ``faults`` are (fault, share of its runs that were unsafe), all guards on.
    """

    lift: Lift
    point: Point
    seed: int
    requirements: tuple[RequirementResult, ...]
    ensemble: Ensemble
    zero_scatter_mm: float
    faults: tuple[tuple[str, float], ...]

    @property
    def passed(self) -> bool:
        return all(result.passed for result in self.requirements)

    @property
    def failing(self) -> tuple[RequirementResult, ...]:
        """The requirements that fall short."""
        return tuple(result for result in self.requirements if not result.passed)

    @property
    def unsafe_share(self) -> float:
        """Share of all fault runs that were unsafe; NaN without faults."""
        return sum(share for _, share in self.faults) / len(self.faults) if self.faults else float("nan")


@dataclass(frozen=True)
class Side:
    """One way in which a setting may stray: the last value that was seen to hold, and what fails beyond.

    ``blocks`` is empty when nothing failed as far as it was tried, which is then ``value``.
    """

    value: float
    blocks: str


@dataclass(frozen=True)
class Drift:
    """How far one setting may stray, the others kept, before a requirement fails."""

    key: str
    value: float
    low: Side
    high: Side


@dataclass(frozen=True)
class Tuning:
    """All that ``downstop tune`` found.

    Attributes
    ----------
    searched_margin : float
        Margin which the search, the best of many trials on few runs, believed the chosen settings had.
    chosen : Point
        The chosen settings over the runs on which they were chosen: still an optimistic figure.
    before, after : Proof
        The file's settings and the chosen ones, over the same fresh runs.
    front : tuple of Point
        Fastest first; each the most margin for its time.
    trials : tuple of (time_to_zero_s, margin)
        Every set of settings that was tried.
    groups : tuple of tuple of str
        Keys of ``settings`` that are one setting and take one value, each group under its first key.
    fixed : tuple of str
        Requirements that no setting moved; they do not count towards the margin, but must hold.
    search_runs, front_runs, drift_runs : int
        Runs of one trial, of one point of the front, of one step of a drift.
    """

    lift: Lift
    seed: int
    runs: int
    found: bool
    searched_margin: float
    chosen: Point
    before: Proof
    after: Proof
    front: tuple[Point, ...]
    trials: tuple[tuple[float, float], ...]
    guards: tuple[Guard, ...]
    groups: tuple[tuple[str, ...], ...]
    drift: tuple[Drift, ...]
    fixed: tuple[str, ...]
    evaluations: int
    stopped: Stopped
    search_runs: int
    front_runs: int
    drift_runs: int
    assumed: tuple[Assumed, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def settings(self) -> Mapping[str, float]:
        return self.after.point.settings

    @property
    def blocking(self) -> RequirementResult | None:
        """Where nothing meets them all: the requirement that falls short furthest; None if found."""
        from homing.tuning.margins import margin_of

        if self.found:
            return None
        allowed = self.lift.requirements.allowed_failure_rate
        return min(self.after.failing, key=lambda each: margin_of(each, allowed))
