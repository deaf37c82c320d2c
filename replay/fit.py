"""Fit of a lift to its logs: what the counts, the battery and the sensor's edges tell about its numbers.

The flow of `fit_logs`:

1. moves from rest, with their commands, from every log (``fit_segments``);
2. a first fit, for commands as sent in their row or as in force in it, whichever explains the counts;
3. moves that this lift cannot have made (jam, slack string, lost counts) are left out and counted;
4. the fit proper, twice: residuals weighed by their own scatter and by how far neighbours repeat each
   other, what the lift file says weighed by how far lift files are commonly off (``fit_model.WIDTHS``);
5. battery and trip height, each by its own small fit (``fit_supply``, ``fit_trip``).

What the logs do not tell stays where the lift file has it, with its full width as error, and is said to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from homing.words import CommandKind
from replay.fit_model import LATENCY, Model, parameters_of
from replay.fit_problem import ROUNDING_COUNTS, Scatter, State, fit_once, scatter_of, spread
from replay.fit_result import Fit, estimates
from replay.fit_segments import Move, moves_of
from replay.fit_supply import fit_supply
from replay.fit_trip import fit_trip
from replay.log import Log
from replay.units import Role
from sensor_models.errors import InputError

Floats = NDArray[np.float64]

#: Moves whose scatter is this many times that of the better ones, and this many counts, are left out; a
#: log with a fault has few good ones, so the measure is the lower quartile; done at most this many times.
ODD_SHARE, ODD_COUNTS, ODD_QUANTILE, ODD_ROUNDS = 4.0, 3.0, 0.25, 3
#: Passes of the fit proper; scatter and repetition have settled to a few per cent after two.
PASSES = 2
#: Relative change of the sum of squares at which a first fit is good enough.
ROUGHLY = 1e-3
#: Rows looked at, about; more are thinned, since neighbours say nearly the same.
MOST_ROWS = 900
#: A delay below minus this [ms] means that commands act before they are sent, which must explain the counts
#: better by this factor to be believed (the stamp may be taken at the end of the loop).
NO_DELAY_MS, UNCAUSED = 1.0, 1.05
#: Rows that repeat each other in a first fit, before it is known.
FIRST_REPEATS = 10.0


def fit_logs(logs: Sequence[Log], lift: Lift) -> Fit:
    """Fit a lift to one or more of its logs.

    Parameters
    ----------
    logs : sequence of Log
        With counts and commands; battery, current and sensor columns are used where there.
    lift : Lift
        Start of the fit, and what is believed of everything that the logs do not tell.

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        When no log has commands, or none a move from rest.
    """
    moves = _all_moves(logs, lift)
    supply = all(Role.BATTERY in log for log in logs)
    first = _first_fit(lift, moves, measured_supply=supply)
    final, odd = _without_odd(first)
    final = _proper_fit(final)
    others = [*fit_supply(logs, lift), *fit_trip(logs, lift)]
    return Fit(
        lift=lift,
        estimates=(*estimates(final.model.parameters, final.values, _in_units(final)), *others),
        covariance=_in_units(final),
        keys=tuple(parameter.key for parameter in final.model.parameters),
        values=final.values,
        error_mm_rms=_error_mm(final),
        rows_used=sum(len(move.time_s[move.kept]) for move in final.model.moves),
        moves_used=len(final.model.moves),
        moves_left_out=odd,
        row_before=final.model.row_before,
        repeats=final.scatter.repeats,
        sources=tuple(log.source for log in logs),
        moves_against=sum(_against(move) for move in moves),
        longest_move_mm=max(move.travel_m for move in moves) * 1e3,
    )


def _all_moves(logs: Sequence[Log], lift: Lift) -> list[Move]:
    for log in logs:
        if Role.COMMAND not in log:
            raise InputError(
                'must hold the commands (role "command"); counts alone do not tell what drove the lift',
                file=log.source,
            )
    moves = [move for log in logs for move in moves_of(log, lift)]
    if not moves:
        raise InputError(
            "must hold at least one move that begins at rest, 10 mm or longer, with readable counts and "
            "commands throughout",
            file=", ".join(log.source for log in logs),
        )
    stride = max(1, sum(len(move.time_s) for move in moves) // MOST_ROWS)
    return [replace(move, stride=stride) for move in moves]


def _first_fit(lift: Lift, moves: Sequence[Move], *, measured_supply: bool) -> State:
    """Fit with either reading of the command column; the one that leaves less counts."""
    duties = lift.drive.command is CommandKind.DUTY
    period_s = float(np.median(np.concatenate([np.diff(move.time_s) for move in moves])))
    parameters = parameters_of(lift, measured_supply=measured_supply, period_s=period_s)
    found = []
    for row_before in (False, True) if duties else (False,):
        model = Model(lift, parameters, moves, measured_supply=measured_supply, row_before=row_before)
        prior = np.array([parameter.prior for parameter in model.parameters])
        rough = spread(model.counts_off(prior))
        state = fit_once(model, prior, Scatter(max(rough, ROUNDING_COUNTS), FIRST_REPEATS), ROUGHLY)
        finer = Scatter(max(spread(state.left), ROUNDING_COUNTS), FIRST_REPEATS)
        found.append(fit_once(model, state.values, finer, ROUGHLY))
    return min(found, key=_unlikely)


def _unlikely(state: State) -> float:
    """What a reading of the command column leaves [counts]; a command felt before it is sent costs."""
    keys = [parameter.key for parameter in state.model.parameters]
    early = LATENCY in keys and state.values[keys.index(LATENCY)] < -NO_DELAY_MS
    return spread(state.left) * (UNCAUSED if early else 1.0)


def _without_odd(state: State) -> tuple[State, tuple[Move, ...]]:
    """The fit without moves that it does not explain, and those moves; the best ones set the measure."""
    left_out: tuple[Move, ...] = ()
    for _ in range(ODD_ROUNDS):
        sizes = np.array([float(np.sqrt(np.mean(np.square(each)))) for each in state.left])
        odd = sizes > max(ODD_SHARE * float(np.quantile(sizes, ODD_QUANTILE)), ODD_COUNTS)
        if not odd.any():
            break
        moves = state.model.moves
        left_out += tuple(move for move, is_odd in zip(moves, odd, strict=True) if is_odd)
        kept = state.model.along([move for move, is_odd in zip(moves, odd, strict=True) if not is_odd])
        left = [each for each, is_odd in zip(state.left, odd, strict=True) if not is_odd]
        finer = Scatter(max(spread(left), ROUNDING_COUNTS), FIRST_REPEATS)
        state = fit_once(kept, state.values, finer, ROUGHLY)
    return state, left_out


def _proper_fit(state: State) -> State:
    for _ in range(PASSES):
        state = fit_once(state.model, state.values, scatter_of(state.left))
    return state


def _against(move: Move) -> bool:
    """Whether a move went the other way than its command had changed from that at rest."""
    height = np.interp(move.commands[:, 0], move.time_s, move.height_m)
    told = move.commands[:-1, 1] - move.commands[0, 1]
    return float(told @ np.diff(height)) < 0.0


def _in_units(state: State) -> Floats:
    """Covariance of the parameters alone (p, p), in their units."""
    width = np.array([parameter.width for parameter in state.model.parameters])
    p = len(width)
    covariance: Floats = state.solution.covariance[:p, :p] * np.outer(width, width)
    return covariance


def _error_mm(state: State) -> float:
    sizes = [each * move.count_m * 1e3 for each, move in zip(state.left, state.model.moves, strict=True)]
    return float(np.sqrt(np.mean(np.square(np.concatenate(sizes)))))
