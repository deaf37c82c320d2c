"""One visit simulated again: the lift from just above the trip, with the logged commands or changed ones.

Heights are those of the true geometry (hard stop at 0). A log does not have them: they follow from the
edge in the log and the trip height of the lift's sensor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Mode
from homing.kernel.drive_along import DRIVEN_COLUMNS, drive_along, place
from homing.kernel.layout import BODY, Records, scratch
from homing.lift import fill_lift, new_runs
from homing.liftfile import Lift
from homing.words import CommandKind, WindingsOff
from replay.approach import Approach
from replay.fit_model import ERROR_SHARE, LATENCY

Floats = NDArray[np.float64]
MM, MS = 1e-3, 1e-3

#: It is noted this often [s].
NOTED_S = 0.004


def as_logged(lifts: Ensemble, approach: Approach) -> Outcome:
    """The visit with the commands as they were."""
    return drive(lifts, (approach.begin_m, approach.begin_m_s), [approach.commands], approach.stand_s)


@dataclass(frozen=True)
class Ensemble:
    """Lifts from the fit's uncertainty, ready to be driven; all (k,).

    ``trip_m``: carriage height at the trip; ``edge_m``: how far the logged edge is off.
    """

    runs: Records
    delays_s: Floats
    trip_m: Floats
    edge_m: Floats
    off: Mode

    def __len__(self) -> int:
        return len(self.delays_s)

    def with_off(self, off: Mode) -> Ensemble:
        """The same lifts with shorted or open windings at rest."""
        return replace(self, off=off)


def ensemble_of(
    lift: Lift,
    sets: dict[str, Floats],
    trip_m: Floats,
    edge_m: Floats,
    *,
    row_before_s: float,
    measured: bool,
) -> Ensemble:
    """Fill the records of k lifts.

    Parameters
    ----------
    sets : mapping
        Keys of the lift file to (k,) values.
    row_before_s : float
        Time by which commands were sent before the row that shows them [s].
    measured : bool
        The battery's voltage is logged.
    """
    runs = new_runs(len(trip_m))
    fill_lift(runs, lift, sets)
    if measured:
        runs.battery_ohm = runs.other_load_a = 0.0
    delays = np.zeros(len(trip_m))
    if lift.drive.command is CommandKind.DUTY:
        delays = np.asarray(sets.get(LATENCY, lift.controller.drive_latency_ms)) * MS - row_before_s + delays
    off = Mode.OPEN if lift.drive.when_off is WindingsOff.OPEN else Mode.SHORTED
    return Ensemble(runs, delays, trip_m, edge_m, off)


@dataclass(frozen=True)
class Outcome:
    """Overtravel past the trip and slack of each lift (k,) [m]."""

    overtravel_m: Floats
    slack_m: Floats


def drive(
    lifts: Ensemble, begin: tuple[float, float] | float, commands: Sequence[Floats], until_s: float
) -> Outcome:
    """Drive every lift from before the trip.

    Parameters
    ----------
    begin : (float, float) or float
        Height over the edge [m] and speed inwards [m/s] at the first command; a speed alone: even from
        there on.
    commands : one (m, 3) array for all lifts, or one for each
        Over the trip's instant; the first in force from the start.
    until_s : float
        End, over the trip's instant [s].
    """
    overtravel, slack = np.empty(len(lifts)), np.empty(len(lifts))
    for k in range(len(lifts)):
        told = commands[k if len(commands) > 1 else 0]
        begin_s = float(told[0, 0])
        time_s = np.append(np.arange(begin_s + NOTED_S, until_s, NOTED_S), until_s)
        trip_m, out = _driven(lifts, k, begin, told, time_s)
        overtravel[k] = trip_m - float(np.min(out[:, 0]))
        slack[k] = max(0.0, float(np.max(out[:, 1] - out[:, 0])))
    return Outcome(overtravel, slack)


def heights_m(lifts: Ensemble, approach: Approach, lift: int) -> Floats:
    """Spool heights over the trip (n,) of one of the lifts at the rows of ``approach.logged`` [m]."""
    begin = (approach.begin_m, approach.begin_m_s)
    trip_m, out = _driven(lifts, lift, begin, approach.commands, approach.logged[:, 0])
    heights: Floats = out[:, 0] - trip_m
    return heights


def _driven(
    lifts: Ensemble, k: int, begin: tuple[float, float] | float, told: Floats, time_s: Floats
) -> tuple[float, Floats]:
    """Spool height at which lift ``k`` trips while coming in [m], and its rows at the given instants."""
    body = scratch(BODY)[0]
    body.error_share = ERROR_SHARE
    run, begin_s = lifts.runs[k], float(told[0, 0])
    out = np.empty((len(time_s), len(DRIVEN_COLUMNS)))
    above_m, speed_m_s = begin if isinstance(begin, tuple) else (-begin_s * begin, begin)
    stretch = _sliding_stretch_m(run, speed_m_s)
    trip_m = float(lifts.trip_m[k]) + stretch
    spool_m = trip_m + float(lifts.edge_m[k]) + above_m
    place(run, body, begin_s, spool_m, spool_m - stretch, -speed_m_s)
    drive_along(run, body, told, float(lifts.delays_s[k]), int(lifts.off), time_s, out)
    return trip_m, out


def _sliding_stretch_m(run: Records, speed_m_s: float) -> float:
    """Stretch of the string while the carriage comes in evenly, never below 0 [m]."""
    pull = float(run.gravity_n - run.friction_n - run.viscous_n_s_per_m * speed_m_s)
    return max(0.0, pull) / float(run.pull_n_per_m)
