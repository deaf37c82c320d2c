"""One robust fit of a model's counts to logged ones, with what is known beforehand as further residuals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from replay.fit_model import START_COUNTS, Model
from replay.fit_segments import Move
from replay.least_squares import Solution, solve

Floats = NDArray[np.float64]

#: Residuals beyond this many standard deviations count in proportion instead of squared.
ROBUST_FROM = 3.0
#: Scatter of an exact model: the standard deviation of rounding to whole counts.
ROUNDING_COUNTS = 12.0**-0.5
#: Neighbouring residuals are taken as repeating each other down to this correlation, over at most this
#: many rows.
REPEATS, LONGEST_REPEAT = 0.05, 100
#: Rounding to whole counts at even speed and even periods beats, so that even an exact model's residuals
#: are never independent from row to row; found by fitting simulated lifts, where errors without this came
#: out too small by a third.
FEWEST_REPEATS = 4.0
#: The carriage hangs anywhere within what its friction holds when a move begins, so the spool may have to
#: turn by up to friction over stiffness more or less: the standard deviation of an even spread of +-1.
START_STRETCH = 3.0**-0.5


@dataclass(frozen=True)
class Scatter:
    """How far residuals spread [counts] and how many rows it takes to learn something new."""

    counts: float
    repeats: float

    @property
    def weight(self) -> float:
        """Factor that makes the rows' residuals as informative as independent ones of unit scatter."""
        return 1.0 / (self.counts * math.sqrt(self.repeats))


def scatter_of(left: list[Floats]) -> Scatter:
    """Scatter and repetition of the residuals of every move [counts]."""
    return Scatter(max(spread(left), ROUNDING_COUNTS), max(repeats_of(left), FEWEST_REPEATS))


def spread(left: list[Floats]) -> float:
    """Robust root mean square of all residuals: those far out weigh as in the fit."""
    values = np.concatenate(left)
    scale = 1.4826 * float(np.median(np.abs(values))) + 1e-9
    weight = 1.0 / np.sqrt(1.0 + np.square(values / (ROBUST_FROM * scale)))
    return float(np.sqrt(np.sum(weight * np.square(values)) / np.sum(weight)))


def repeats_of(left: list[Floats]) -> float:
    """Integrated autocorrelation 1 + 2 sum rho_k over the first lags, pooled over moves; at least 1."""
    total = sum(float(each @ each) for each in left)
    repeats = 1.0
    for lag in range(1, LONGEST_REPEAT):
        rho = sum(float(each[lag:] @ each[:-lag]) for each in left if len(each) > lag) / max(total, 1e-12)
        if rho < REPEATS:
            break
        repeats += 2.0 * rho
    return repeats


@dataclass(frozen=True)
class State:
    """A model with its fit so far; ``values`` in the units of the parameters."""

    model: Model
    values: Floats
    solution: Solution
    scatter: Scatter
    left: list[Floats]


def fit_once(model: Model, values: Floats, scatter: Scatter, tolerance: float = 1e-6) -> State:
    """One fit of the parameters, in widths from their prior."""
    prior = np.array([parameter.prior for parameter in model.parameters])
    width = np.array([parameter.width for parameter in model.parameters])
    low = np.array([(parameter.low - parameter.prior) / parameter.width for parameter in model.parameters])
    high = np.array([(parameter.high - parameter.prior) / parameter.width for parameter in model.parameters])
    problem = Problem(model, prior, width, scatter)
    solution = solve(
        problem.residuals,
        np.clip((values - prior) / width, low + 1e-6, high - 1e-6),
        low=low,
        high=high,
        size=np.ones(len(prior)),
        robust_from=problem.robust_from(),
        unit_scatter=True,
        jacobian=problem.jacobian,
        tolerance=tolerance,
    )
    return State(model, prior + width * solution.values, solution, scatter, problem.left(solution.values))


class Problem:
    """Residuals and derivatives of one fit; the last simulation is kept for the derivatives.

    The unknowns of every move (where within its count it begins, what the voltage did between two rows)
    are linear, so they are solved for inside the residuals and never seen by the search.
    """

    def __init__(self, model: Model, prior: Floats, width: Floats, scatter: Scatter) -> None:
        self.model, self.prior, self.width = model, prior, width
        self.weight, self.robust = scatter.weight, ROBUST_FROM * scatter.counts * scatter.weight
        start_m = START_STRETCH * loose_m(model.lift)
        self._unknowns = [Unknowns.of(move, start_m, self.weight) for move in model.moves]
        self._at: tuple[Floats, list[Floats], list[Floats]] | None = None

    def _simulated(self, x: Floats) -> tuple[list[Floats], list[Floats]]:
        if self._at is None or not np.array_equal(self._at[0], x):
            self._at = x.copy(), *self.model.counts_and_slopes(self.prior + self.width * x)
        return self._at[1], self._at[2]

    def _without_unknowns(self, moves: list[Floats]) -> Floats:
        """Rows with the unknowns of their move taken off, then these in standard deviations."""
        pairs = [known.taken_off(each) for known, each in zip(self._unknowns, moves, strict=True)]
        return np.concatenate([*(self.weight * rows for rows, _ in pairs), *(sizes for _, sizes in pairs)])

    def left(self, x: Floats) -> list[Floats]:
        """What is left of each move [counts]."""
        off = self._simulated(x)[0]
        return [known.taken_off(each)[0] for known, each in zip(self._unknowns, off, strict=True)]

    def residuals(self, x: Floats) -> Floats:
        # parameters, too, are in standard deviations of what is known beforehand
        return np.concatenate([self._without_unknowns(self._simulated(x)[0]), x])

    def jacobian(self, x: Floats) -> Floats:
        rows = self._without_unknowns(self._simulated(x)[1]) * self.width
        jacobian: Floats = np.vstack([rows, np.eye(len(x))])
        return jacobian

    def robust_from(self) -> Floats:
        rows = sum(len(move.time_s[move.kept]) for move in self.model.moves)
        known = sum(each.columns.shape[1] for each in self._unknowns) + len(self.prior)
        return np.concatenate([np.full(rows, self.robust), np.full(known, np.inf)])


@dataclass(frozen=True)
class Unknowns:
    """Unknowns of one move: what one standard deviation of each does to the rows (n, q) [counts].

    ``solver`` (q, n) gives the most likely ones for given rows.
    """

    columns: Floats
    solver: Floats

    @classmethod
    def of(cls, move: Move, start_m: float, weight: float) -> Unknowns:
        """Shifts from the move's start, from its breakaway and from each kink of the voltage on."""
        rows = len(move.time_s[move.kept])
        off = np.abs(move.height_m - move.height_m[0]) > 1.5 * move.count_m
        shifts = [(int(np.argmax(off)), start_m), *move.kinks]
        sizes = [(0, START_COUNTS), *((k, sd / move.count_m) for k, sd in shifts)]
        columns = np.zeros((rows, len(sizes)))
        for i, (begin, size) in enumerate(sizes):
            columns[begin // move.stride :, i] = size
        weighed = weight**2 * columns.T
        solver = np.linalg.solve(weighed @ columns + np.eye(len(sizes)), weighed)
        return cls(columns, np.asarray(solver, dtype=np.float64))

    def taken_off(self, rows: Floats) -> tuple[Floats, Floats]:
        """Rows (n,) or (n, p) without the unknowns, and these (q,) or (q, p)."""
        sizes = self.solver @ rows
        return rows - self.columns @ sizes, sizes


def loose_m(lift: Lift) -> float:
    """Stretch over which friction holds a hanging carriage, either way [m]."""
    stiffness = lift.drive.stiffness_n_per_mm if lift.string is None else lift.string.stiffness_n_per_mm
    return lift.lift.friction_n / stiffness * 1e-3 if stiffness else 0.0
