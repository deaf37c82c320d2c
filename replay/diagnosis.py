"""What a diagnosis consists of: values only, nothing here measures, prints or draws.

Lengths are in mm where the log's scale is known. Where it is not, ``Diagnosis.scaled`` is False, and they are
shares of the log's own range, which then counts as `replay.track.WORKING_RANGE_MM`; words are in counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from replay.identifiers import Cause, Part, Shape, Verdict

if TYPE_CHECKING:
    from replay.log import Log

__all__ = [
    "BudgetPart",
    "Cause",
    "Diagnosis",
    "EdgeChart",
    "Finding",
    "Part",
    "Shape",
    "Verdict",
    "Visit",
]


@dataclass(frozen=True, slots=True)
class Visit:
    """One arrival at the retracted end, in numbers.

    Parameters
    ----------
    number : int
        Count of arrivals, from 1.
    start, at, stand, end : int
        Indices into the log: the descent begins, the trip is passed, the first standstill after it, the
        last row before the next descent.
    t_s, row : float, int
        Stamp [s] and data row at which the trip was passed.
    made : bool
        The sensor was read as made in this arrival.
    seen : int or None
        Index of the first made reading.
    approach_speed : float
        Speed in front of the edge, positive inwards [mm/s].
    edge, edge_low, edge_high : float
        Height of the spool at which the carriage passed the trip, and the bounds that hold it nearly surely
        [mm], from the readings of this visit and those around it; heights go on through zeros and resets.
    edge_logged : float
        The same edge over the zero that the count had at that time [mm].
    read_low, read_high : float
        Heights between which the sensor changed on the way in, whatever the trip is [mm]; NaN if it did not.
    overtravel, deepest : float
        Way past the trip to the first standstill, and at most before the lift went out again [mm].
    overtravel_low, overtravel_high : float
        Bounds of the overtravel [mm]: where the trip may have been, what may be hidden between two rows, and
        where a spool that creeps may be said to stand.
    rest : float
        Height at which it came to rest [mm].
    command_delay_s : float
        From the first made reading to the first changed command; NaN where either is not there [s].
    run_on : float
        Way travelled after the command changed, or after the reading in a log without commands [mm]; NaN
        where it is not known.
    zeros : tuple of int
        Indices of rows in which the count was set during this visit.
    longest_step_s : float
        Longest loop around the edge [s].
    battery_v, battery_low_v, current_a : float
        Median and lowest battery voltage and highest current around the edge; NaN without the columns.
    """

    number: int
    start: int
    at: int
    stand: int
    end: int
    t_s: float
    row: int
    made: bool
    seen: int | None
    approach_speed: float
    edge: float
    edge_low: float
    edge_high: float
    edge_logged: float
    read_low: float
    read_high: float
    overtravel: float
    overtravel_low: float
    overtravel_high: float
    deepest: float
    rest: float
    command_delay_s: float
    run_on: float
    zeros: tuple[int, ...]
    longest_step_s: float
    battery_v: float
    battery_low_v: float
    current_a: float

    @property
    def edge_doubt(self) -> float:
        """Half of what the bounds of the edge leave open [mm]."""
        return (self.edge_high - self.edge_low) / 2

    @property
    def edge_read(self) -> bool:
        """The sensor changed to made on the way in."""
        return self.read_low == self.read_low

    @property
    def read_edge(self) -> float:
        """Middle of the interval in which the sensor changed [mm]; NaN if it did not."""
        return (self.read_low + self.read_high) / 2

    @property
    def read_width(self) -> float:
        """Width of that interval [mm]."""
        return self.read_high - self.read_low

    @property
    def zeroed(self) -> bool:
        """The count was set to zero in this visit."""
        return bool(self.zeros)


@dataclass(frozen=True, slots=True)
class Finding:
    """A cause with what speaks for and against it.

    Parameters
    ----------
    cause : Cause
    score : float
        Probability under the stated priors, 0 to 1; all scores of one log sum to at most 1.
    t_s, rows : float, (int, int)
        Where it acted: stamp [s] and first and last data row.
    for_, against : tuple of str
        Sentences with rows and numbers.
    effects : tuple of Cause
        Later links of the chain.
    contribution_mm : float or None
        Way past the trip that this cause is answerable for [mm].
    next_test : str
        The column or test that would decide between this and the runner-up.
    """

    cause: Cause
    score: float
    t_s: float
    rows: tuple[int, int]
    for_: tuple[str, ...]
    against: tuple[str, ...]
    effects: tuple[Cause, ...] = ()
    contribution_mm: float | None = None
    next_test: str = ""


@dataclass(frozen=True, slots=True)
class BudgetPart:
    """A part of the way past the trip [mm]; ``low`` and ``high`` bound what the log cannot resolve."""

    part: Part
    mm: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class EdgeChart:
    """Edge position over the visits.

    ``visits``, ``edges`` and ``half_widths`` (k,) hold visit numbers, edges [mm] and half their sampling
    interval [mm]; ``size`` is the step, the whole ramp or the standard deviation [mm]; ``at_visit`` the
    first visit after a step.
    """

    shape: Shape
    confidence: float
    size: float
    at_visit: int | None
    visits: tuple[int, ...]
    edges: tuple[float, ...]
    half_widths: tuple[float, ...]
    words: str


@dataclass(frozen=True)
class Diagnosis:
    """Everything found in one log.

    Parameters
    ----------
    log : Log
    visits : tuple of Visit
    verdict : Verdict
    reason : str
        The verdict in a sentence; for ``cannot_tell`` what is missing.
    bad_visit : Visit or None
        The first visit past the limit, or the one that the finding is about.
    findings : tuple of Finding
        Best first.
    budget : tuple of BudgetPart
        Stop budget of the bad visit.
    edge_chart : EdgeChart
    limit_mm : float
    scaled : bool
        True when lengths are true mm.
    missing : tuple of str
        Columns that the log lacks.
    notes : tuple of str
    lift_fits : bool
        False where a lift file was given that cannot be this log's, so that the log was read without it.
    """

    log: Log
    visits: tuple[Visit, ...]
    verdict: Verdict
    reason: str
    bad_visit: Visit | None
    findings: tuple[Finding, ...]
    budget: tuple[BudgetPart, ...]
    edge_chart: EdgeChart
    limit_mm: float
    scaled: bool
    missing: tuple[str, ...]
    notes: tuple[str, ...] = ()
    lift_fits: bool = True
