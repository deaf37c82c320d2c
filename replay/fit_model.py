"""The lift as a function of what is fitted: simulated counts along logged commands, and their derivatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Mode
from homing.kernel.drive_along import DRIVEN_COLUMNS, drive_moves
from homing.kernel.layout import BODY, Records, scratch
from homing.lift import fill_lift, new_runs
from homing.liftfile import Lift
from homing.words import CommandKind, WindingsOff
from replay.fit_segments import Move

Floats = NDArray[np.float64]
MS = 1e-3

LATENCY = "controller.drive_latency_ms"
#: Moves are simulated this far from both stops [m]: a log does not tell how far its zero is from them.
FAR_M = 50.0
#: Steps may err by this many times the kernel's own tolerance (1e-7 m): still far below a count.
ERROR_SHARE = 20.0
#: Derivatives are taken over this share of a parameter's width.
STEP_SHARE = 0.05
#: Standard deviation of the unknown place within the count at which a move begins [counts].
START_COUNTS = 0.5


@dataclass(frozen=True)
class Parameter:
    """Something fitted.

    Parameters
    ----------
    key : str
        Key of the lift file; values are in its unit.
    unit : str
    prior : float
        What the lift file says.
    width : float
        Standard deviation of that, before any log is seen.
    low, high : float
        Bounds.
    """

    key: str
    unit: str
    prior: float
    width: float
    low: float
    high: float


#: Share by which a lift file's numbers are commonly off, and an absolute part: (key, unit, share, least).
#: Own estimates: a mass is weighed, friction is guessed, a motor's free speed varies by a tenth from one
#: to the next (data sheets of small brushed motors allow 10 %), string stretch is worked out from its kind.
WIDTHS: tuple[tuple[str, str, float, float], ...] = (
    ("lift.friction_n", "N", 0.4, 0.5),
    ("lift.viscous_n_s_per_m", "N s/m", 0.6, 2.0),
    ("lift.moving_mass_kg", "kg", 0.2, 0.01),
    ("drive.motor_free_speed_rpm", "rpm", 0.1, 1.0),
    ("drive.motor_free_current_a", "A", 0.4, 0.01),
    (LATENCY, "ms", 0.5, 6.0),
    ("string.stiffness_n_per_mm", "N/mm", 0.4, 0.01),
    ("string.return_slack_mm", "mm", 0.5, 1.0),
    ("drive.stiffness_n_per_mm", "N/mm", 0.4, 0.01),
    ("drive.backlash_mm", "mm", 0.5, 0.2),
    ("battery.open_circuit_v", "V", 0.04, 0.1),
    ("battery.resistance_ohm", "ohm", 0.5, 0.02),
)
#: Bounds as shares of the prior, and what is added at the top; friction and delays may be zero.
LOWEST_SHARE, HIGHEST_SHARE, HIGHEST_ADDED = 0.2, 5.0, 10.0
#: How long before the stamp of its row a command may take effect, in periods.
EARLIEST_SHARE = 0.5


def parameters_of(lift: Lift, *, measured_supply: bool, period_s: float) -> tuple[Parameter, ...]:
    """What counts can tell about this kind of lift, with what its file says.

    Parameters
    ----------
    measured_supply : bool
        The logs hold the battery's voltage, so that nothing about the battery enters.
    period_s : float
        Loop period [s].
    """
    numbers = lift.quantities()
    chosen = []
    for key, unit, share, least in WIDTHS:
        if key not in numbers or not _shows(key, lift, measured_supply=measured_supply):
            continue
        prior = numbers[key]
        width = max(share * prior, least)
        may_be_zero = key.endswith(
            ("friction_n", "per_m", "_ms", "slack_mm", "backlash_mm", "_ohm", "current_a")
        )
        low = 0.0 if may_be_zero else LOWEST_SHARE * prior
        if key == LATENCY:  # the stamp of a row may be taken after its command was sent
            low = -EARLIEST_SHARE * period_s / MS
        high = HIGHEST_SHARE * prior + (HIGHEST_ADDED if may_be_zero else 0.0)
        chosen.append(Parameter(key, unit, prior, width, low, high))
    return tuple(chosen)


def _shows(key: str, lift: Lift, *, measured_supply: bool) -> bool:
    """Whether a number of this lift can show in its counts at all."""
    if key == LATENCY:
        return lift.drive.command is CommandKind.DUTY
    if key.startswith("battery."):
        return not measured_supply
    return key != "string.return_slack_mm" or (lift.string is not None and lift.string.return_string)


class Model:
    """Heights of the spool along logged moves for given parameters.

    Parameters
    ----------
    lift : Lift
    parameters : sequence of Parameter
    moves : sequence of Move
    measured_supply : bool
        The commands carry measured terminal voltages; otherwise the battery of the lift file sags.
    row_before : bool
        Each row shows the command that was in force already, sent a row before.
    """

    def __init__(
        self,
        lift: Lift,
        parameters: Sequence[Parameter],
        moves: Sequence[Move],
        *,
        measured_supply: bool,
        row_before: bool = False,
    ) -> None:
        self.lift, self.parameters, self.moves = lift, tuple(parameters), tuple(moves)
        self.measured_supply, self.row_before = measured_supply, row_before
        self._off = Mode.OPEN if lift.drive.when_off is WindingsOff.OPEN else Mode.SHORTED
        self._delayed = lift.drive.command is CommandKind.DUTY
        self._body = scratch(BODY)[0]
        self._body.error_share = ERROR_SHARE
        self._time_s = np.concatenate([move.time_s for move in self.moves])
        self._time_first = _firsts([move.time_s for move in self.moves])
        told = [move.commands_for(row_before=row_before) for move in self.moves]
        self._commands, self._command_first = np.concatenate(told), _firsts(told)
        if not measured_supply:  # some logs may have voltages, but the battery is fitted
            self._commands[:, 2] = 0.0

    def along(self, moves: Sequence[Move]) -> Model:
        """The same model along other moves."""
        return Model(
            self.lift,
            self.parameters,
            moves,
            measured_supply=self.measured_supply,
            row_before=self.row_before,
        )

    def records(self, sets: Floats) -> Records:
        """The lift with these sets of values (k, p), far from its stops."""
        runs = new_runs(len(sets))
        values = {parameter.key: sets[:, i] for i, parameter in enumerate(self.parameters)}
        fill_lift(runs, self.lift, values)
        runs.travel_m, runs.spare_m = 2.0 * FAR_M, FAR_M
        if self.measured_supply:
            runs.battery_ohm = runs.other_load_a = 0.0
        return runs

    def delays_s(self, sets: Floats) -> Floats:
        """Delay from a program's command to the drive (k,); none where the drive's voltage is logged."""
        if not self._delayed:
            return np.zeros(len(sets))
        for i, parameter in enumerate(self.parameters):
            if parameter.key == LATENCY:
                return np.ascontiguousarray(sets[:, i] * MS)
        return np.full(len(sets), self.lift.controller.drive_latency_ms * MS)

    def driven(self, sets: Floats) -> Floats:
        """Simulated rows of all moves (k, n, len(DRIVEN_COLUMNS)) for sets of values (k, p).

        Every move begins at rest, with its spool at height 0 and the carriage hanging.
        """
        runs = self.records(sets)
        out = np.empty((len(sets), len(self._time_s), len(DRIVEN_COLUMNS)))
        begin = np.column_stack([np.full(len(sets), FAR_M), FAR_M - hanging_m(runs)])
        drive_moves(
            runs, self._body, begin, self.delays_s(sets), self._commands, self._command_first, int(self._off),
            self._time_s, self._time_first, out,
        )  # fmt: skip
        out[:, :, :2] -= FAR_M
        return out

    def counts_off(self, values: Floats) -> list[Floats]:
        """Simulated minus logged height of every move [counts], (rows,) each."""
        return self._off_of(self.driven(values[None, :])[0])

    def counts_and_slopes(self, values: Floats) -> tuple[list[Floats], list[Floats]]:
        """`counts_off` and its change with each parameter, (rows, p) a move."""
        width = np.array([parameter.width for parameter in self.parameters])
        top = np.array([parameter.high for parameter in self.parameters])
        step = STEP_SHARE * width
        step = np.where(values + step > top, -step, step)
        rows = self.driven(np.vstack([values, values + np.diag(step)]))
        off = [self._off_of(each) for each in rows]
        slopes = [
            np.column_stack([(moved[i] - off[0][i]) / h for moved, h in zip(off[1:], step, strict=True)])
            for i in range(len(self.moves))
        ]
        return off[0], slopes

    def _off_of(self, rows: Floats) -> list[Floats]:
        each = np.split(rows[:, 0], self._time_first[1:-1])
        return [
            ((height - (move.height_m - move.height_m[0])) / move.count_m)[move.kept]
            for height, move in zip(each, self.moves, strict=True)
        ]


def _firsts(arrays: Sequence[Floats]) -> NDArray[np.int64]:
    """First row of each of several arrays put one after the other, and the end."""
    return np.concatenate([[0], np.cumsum([len(array) for array in arrays])]).astype(np.int64)


def hanging_m(runs: Records) -> Floats:
    """Stretch of string, belt or screw under the carriage's weight at rest (k,) [m]."""
    weight = runs.gravity_n + np.where(runs.return_n_per_m > 0.0, runs.return_preload_n, 0.0)
    stretch: Floats = np.maximum(weight, 0.0) / runs.pull_n_per_m
    return stretch
