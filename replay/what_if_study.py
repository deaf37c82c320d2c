"""What all changes to one visit share: lifts drawn from the fit's uncertainty, limits, and the judgement."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from homing.words import CommandKind
from replay.approach import MM, Approach
from replay.diagnosis import Cause
from replay.fit_result import Fit
from replay.fit_trip import nominal_trip_m
from replay.open_loop import Ensemble, Outcome, ensemble_of
from replay.track import Track
from replay.units import Role

Floats = NDArray[np.float64]

#: Lifts drawn from the fit's uncertainty.
DRAWS = 24
#: Standard deviation of the hard stop's place against the trip: a ruler on a robot [m].
ROOM_M = 2e-3
#: Share of the model's error that goes with any change, however short the stop becomes.
LEAST_ERROR = 0.25
#: A drive that ramps by itself shows its voltage at the rows: what lies between is taken as a line, which is
#: wrong by this share of the way in one row.
ROW_SHARE = 0.1
#: A model whose error is more than this share of the overtravel does not explain the visit.
UNEXPLAINED = 0.4


@dataclass(frozen=True)
class WhatIf:
    """One change and what would have come of it.

    ``low`` and ``high`` bound the overtravel at 95 % [mm]; ``prevented`` is None where that cannot be said.
    """

    change: str
    overtravel_mm: float
    low: float
    high: float
    prevented: bool | None


@dataclass(frozen=True)
class WhatIfs:
    """The visit as it was and every change.

    Parameters
    ----------
    as_it_was : WhatIf
    model_error_mm : float
        Simulated minus logged overtravel.
    changes : tuple of WhatIf
    not_tried : tuple of (str, str)
        Changes that do not apply to this lift or log, and why.
    shown : tuple of str
        What the visit shows of the lift that its file says otherwise.
    lacking : str
        What is missing, where the model does not explain the visit; empty where it does.
    """

    as_it_was: WhatIf
    model_error_mm: float
    changes: tuple[WhatIf, ...]
    not_tried: tuple[tuple[str, str], ...] = ()
    shown: tuple[str, ...] = ()
    lacking: str = ""


@dataclass(frozen=True)
class Study:
    """What all changes share."""

    lift: Lift
    approach: Approach
    lifts: Ensemble
    window_m: float
    limit_m: float
    slack_m: float
    cause: Cause | None
    rng: np.random.Generator
    sets: dict[str, Floats]
    trip_m: Floats
    row_before_s: float
    measured: bool
    nominal_trip_m: float
    usual_v: float
    seed: int
    coasts: bool = False
    shown: tuple[str, ...] = ()

    @property
    def brake_words(self) -> str:
        """The change from open to shorted windings."""
        words = "motor windings shorted (brake) instead of open (coast)"
        return f"{words}; the log coasts, though the lift file says it brakes" if self.coasts else words


def study_of(
    track: Track,
    lift: Lift,
    approach: Approach,
    fit: Fit | None,
    limit_m: float,
    cause: Cause | None,
    seed: int,
) -> Study:
    """Lifts drawn from the fit, and everything that the changes share."""
    rng = np.random.default_rng(seed)
    sets = _drawn(lift, fit, measured=Role.BATTERY in track.log, rng=rng)
    nominal_m = nominal_trip_m(lift)
    trip_m = nominal_m + ROOM_M * rng.standard_normal(DRAWS)
    edge_m = even(rng, *approach.edge_error_m, DRAWS)
    measured = Role.BATTERY in track.log
    row_before_s = approach.period_s if fit is not None and fit.row_before else 0.0
    lifts = ensemble_of(lift, sets, trip_m, edge_m, row_before_s=row_before_s, measured=measured)
    return Study(
        lift=lift,
        approach=approach,
        lifts=lifts,
        window_m=_window_m(lift),
        limit_m=limit_m,
        slack_m=lift.requirements.slack_mm * MM * lift.drive.travel_per_line,
        cause=cause,
        rng=rng,
        sets=sets,
        trip_m=trip_m,
        row_before_s=row_before_s,
        measured=measured,
        nominal_trip_m=nominal_m,
        usual_v=float(np.nanmedian(track.log[Role.BATTERY])) if measured else lift.battery.open_circuit_v,
        seed=seed,
    )


def _between_rows_m(study: Study) -> float:
    """What a drive with a loop of its own leaves open: how it began to brake within one row [m]."""
    if study.lift.drive.command is not CommandKind.SPEED:
        return 0.0
    return ROW_SHARE * study.approach.speed_m_s * study.approach.period_s


def even(rng: np.random.Generator, low: float, high: float, count: int) -> Floats:
    """Evenly drawn values (count,), one from each of as many equal parts, in random order.

    Two dozen independent draws have a middle of their own, a tenth of the range off, and miss its ends [1]_.

    References
    ----------
    .. [1] M. D. McKay, R. J. Beckman, W. J. Conover, "A comparison of three methods for selecting values of
       input variables", Technometrics 21 (1979), 239-245 (stratified and Latin hypercube sampling).
    """
    parts: Floats = (rng.permutation(count) + rng.uniform(0.0, 1.0, count)) / count
    return low + (high - low) * parts


def _drawn(lift: Lift, fit: Fit | None, *, measured: bool, rng: np.random.Generator) -> dict[str, Floats]:
    """Sets of parameters: from the fit, or from what lift files are commonly off by."""
    if fit is not None:
        drawn = fit.draw(DRAWS, int(rng.integers(2**31)))
        return {key: np.array([each[key] for each in drawn]) for key in fit.keys}
    from replay.fit_model import parameters_of

    period_s = lift.controller.period_ms * MM
    return {
        each.key: np.clip(each.prior + each.width * rng.standard_normal(DRAWS), max(each.low, 0.0), each.high)
        for each in parameters_of(lift, measured_supply=measured, period_s=period_s)
    }


def _window_m(lift: Lift) -> float:
    """Length of the sensor's window on the way in; inf where it is made down to the stop [m]."""
    from homing.sensors import build_sensor
    from sensor_models.mounting import grid_for, respond

    sensor = build_sensor(lift)
    seen = respond(sensor, grid_for(sensor, lift.lift.travel_mm * MM), 1)
    low = float(seen.window_low_m[0])
    return float(seen.trip_m[0]) - low if low > 0.0 else math.inf


def judged(
    change: str, outcome: Outcome, study: Study, error_m: float, off_m: float = 0.0, as_it_was: bool = False
) -> WhatIf:
    """Interval over the drawn lifts, widened by the model's error; ``off_m`` is taken off all of them.

    A model that explains the visit but for a millimetre or two is off by as much, in its share, after a
    change: that is taken off the middle too, but for the visit as it was, which shows the error itself.
    """
    was_m = max(study.approach.overtravel_m, 1e-6)
    past = outcome.overtravel_m - off_m
    share = float(np.clip((float(np.median(past)) + off_m) / was_m, LEAST_ERROR, 1.0))
    explained = abs(error_m) <= UNEXPLAINED * was_m
    if explained and not as_it_was:
        past = past - share * error_m
    middle = float(np.median(past))
    # a model that is far off here may be off in anything
    widen = (share if explained else 1.0) * abs(error_m) + _between_rows_m(study)
    low, high = (float(value) for value in np.quantile(past, [0.025, 0.975]))
    low, high = low - widen, high + widen
    slack_low, slack_high = (float(value) for value in np.quantile(outcome.slack_m, [0.025, 0.975]))
    prevented: bool | None = None
    if high <= study.limit_m and slack_high <= study.slack_m:
        prevented = True
    elif low > study.limit_m or slack_low > study.slack_m:
        prevented = False
    return WhatIf(change, middle / MM, low / MM, high / MM, prevented)
