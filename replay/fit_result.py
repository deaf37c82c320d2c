"""What a fit says: values with errors, what they are tied to, and what the logs do not tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from replay.fit_model import LATENCY, Parameter
from replay.fit_segments import Move

Floats = NDArray[np.float64]

#: Half width of a 95 % interval in standard errors.
Z95 = 1.959963984540054
#: A value whose error is still this share of what was believed before is not told by the logs.
UNTOLD = 0.7
#: Correlations beyond this are said.
TIED = 0.9
#: No drawn value is below this share of what the lift file says; masses and stiffnesses are above 0.
LEAST_SHARE = 0.02
#: Closer to a bound than this share of the width counts as at it.
NEAR_BOUND = 1e-3
DISTRUST = "its error is not to be trusted"


@dataclass(frozen=True)
class Estimate:
    """One fitted number, in the unit of its key.

    ``told`` is False where the logs do not tell it: then the value is mostly the lift file's.
    """

    key: str
    value: float
    unit: str
    std_error: float
    prior: float
    told: bool
    notes: tuple[str, ...] = ()

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval."""
        return self.value - Z95 * self.std_error, self.value + Z95 * self.std_error

    @property
    def note(self) -> str:
        """All that must be said about it."""
        return "; ".join(self.notes)


@dataclass(frozen=True)
class Fit:
    """A lift fitted to its logs.

    Parameters
    ----------
    lift : Lift
        As it was before.
    estimates : tuple of Estimate
        Those of the dynamics first, in the order of ``keys``, then battery and trip height.
    covariance : (p, p) array
        Of the dynamics' parameters ``keys``, in their units.
    values : (p,) array
        The same parameters; a delay may be below 0 here, where rows are stamped late.
    error_mm_rms : float
        Simulated against logged heights over the rows used [mm].
    rows_used, moves_used : int
    moves_left_out : tuple of Move
        Moves that the model does not explain.
    row_before : bool
        The command column shows what is in force in a row, not what is sent in it.
    repeats : float
        Rows it takes to learn something new; errors are widened by its root.
    sources : tuple of str
        Logs.
    moves_against : int
        Moves that went the other way than their command had changed.
    longest_move_mm : float
        Longest way between two rests.
    """

    lift: Lift
    estimates: tuple[Estimate, ...]
    covariance: Floats = field(repr=False)
    keys: tuple[str, ...]
    values: Floats = field(repr=False)
    error_mm_rms: float
    rows_used: int
    moves_used: int
    moves_left_out: tuple[Move, ...] = field(repr=False)
    row_before: bool
    repeats: float
    sources: tuple[str, ...]
    moves_against: int
    longest_move_mm: float

    def __getitem__(self, key: str) -> Estimate:
        return next(each for each in self.estimates if each.key == key)

    def __contains__(self, key: object) -> bool:
        return any(each.key == key for each in self.estimates)

    @property
    def correlations(self) -> Floats:
        """Correlations of the dynamics' parameters (p, p)."""
        return correlations_of(self.covariance)

    @property
    def calibrated(self) -> Lift:
        """The lift with the fitted values."""
        return self.lift.replace({each.key: each.value for each in self.estimates})

    def draw(self, count: int, seed: int) -> list[dict[str, float]]:
        """Parameter sets from the fit's uncertainty; none below 0 where the value itself is not."""
        rng = np.random.default_rng(seed)
        sets = rng.multivariate_normal(self.values, self.covariance, size=count, method="eigh")
        priors = np.array([self[key].prior for key in self.keys])
        least = np.minimum(self.values, LEAST_SHARE * np.abs(priors))
        least[[key == LATENCY for key in self.keys]] = -np.inf
        return [dict(zip(self.keys, np.maximum(row, least).tolist(), strict=True)) for row in sets]


def correlations_of(covariance: Floats) -> Floats:
    """Correlation matrix of a covariance."""
    size = np.sqrt(np.diag(covariance))
    size = np.where(size > 0.0, size, 1.0)
    correlations: Floats = covariance / np.outer(size, size)
    return correlations


def estimates(parameters: Sequence[Parameter], values: Floats, covariance: Floats) -> tuple[Estimate, ...]:
    """Estimates of the dynamics with everything that must be said about each."""
    errors = np.sqrt(np.diag(covariance))
    correlations = correlations_of(covariance)
    made = []
    for i, parameter in enumerate(parameters):
        told = bool(errors[i] < UNTOLD * parameter.width)
        notes = [*_bounds(parameter, float(values[i])), *_ties(parameters, correlations, i)]
        if not told:
            notes.insert(0, "not identifiable from these logs: mostly what the lift file says")
        value = float(values[i])
        if parameter.key == LATENCY and value < 0.0:
            notes.append(f"commands take effect {-value:.1f} ms before the stamp of their row; taken as 0")
            value = 0.0
        made.append(
            Estimate(
                key=parameter.key,
                value=value,
                unit=parameter.unit,
                std_error=float(errors[i]),
                prior=parameter.prior,
                told=told,
                notes=tuple(notes),
            )
        )
    return tuple(made)


def _bounds(parameter: Parameter, value: float) -> list[str]:
    near = NEAR_BOUND * parameter.width
    if value <= parameter.low + near:
        hint = (
            "; the gear's efficiency, which is not fitted, may be too low" if _is_friction(parameter) else ""
        )
        return [f"at its lowest bound, {parameter.low:g} {parameter.unit}: {DISTRUST}{hint}"]
    if value >= parameter.high - near:
        return [f"at its highest bound, {parameter.high:g} {parameter.unit}: {DISTRUST}"]
    return []


def _is_friction(parameter: Parameter) -> bool:
    return parameter.key == "lift.friction_n"


def _ties(parameters: Sequence[Parameter], correlations: Floats, i: int) -> list[str]:
    return [
        f"tied to {parameters[j].key} (correlation {correlations[i, j]:+.2f})"
        for j in range(len(parameters))
        if j != i and abs(correlations[i, j]) > TIED
    ]
