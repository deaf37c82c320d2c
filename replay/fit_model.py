"""The lift as a function of what is fitted: simulated counts along logged commands, and their derivatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Coupling, Mode
from homing.kernel.drive_along import DRIVEN_COLUMNS, drive_along, place
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
    (LATENCY, "ms", 0.5, 6.0),
    ("string.stiffness_n_per_mm", "N/mm", 0.4, 0.01),
    ("string.return_slack_mm", "mm", 0.5, 1.0),
    ("drive.stiffness_n_per_mm", "N/mm", 0.4, 0.01),
    ("drive.backlash_mm", "mm", 0.5, 0.2),
)
#: Bounds as shares of the prior, and what is added at the top; friction and delays may be zero.
LOWEST_SHARE, HIGHEST_SHARE, HIGHEST_ADDED = 0.2, 5.0, 10.0


def parameters_of(lift: Lift, latency: bool) -> tuple[Parameter, ...]:
    """What counts can tell about this kind of lift, with what its file says.

    Parameters
    ----------
    latency : bool
        Whether the log's commands are sent by the program (duties), so that their delay shows.
    """
    numbers = lift.quantities()
    chosen = []
    for key, unit, share, least in WIDTHS:
        absent = key not in numbers or (key == LATENCY and not latency)
        unused = key == "string.return_slack_mm" and (lift.string is None or not lift.string.return_string)
        if absent or unused:
            continue
        prior = numbers[key]
        width = max(share * prior, least)
        may_be_zero = key.endswith(("friction_n", "per_m", "_ms", "slack_mm", "backlash_mm"))
        low = 0.0 if may_be_zero else LOWEST_SHARE * prior
        high = HIGHEST_SHARE * prior + (HIGHEST_ADDED if may_be_zero else 0.0)
        chosen.append(Parameter(key, unit, prior, width, low, high))
    return tuple(chosen)


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

    def heights(self, values: Floats, move: Move) -> Floats:
        """Simulated rows of one move (n, len(DRIVEN_COLUMNS)), its start at height 0 [m]."""
        return self.driven(self.record(values), move, self.latency_s(values))

    def latency_s(self, values: Floats) -> float:
        """Delay from a program's command to the drive; none where the drive's own voltage is logged."""
        if not self._delayed:
            return 0.0
        for parameter, value in zip(self.parameters, values, strict=True):
            if parameter.key == LATENCY:
                return float(value) * MS
        return self.lift.controller.drive_latency_ms * MS

    def record(self, values: Floats) -> Records:
        """The lift with these values, far from its stops."""
        runs = new_runs(1)
        fill_lift(runs, self.lift, {p.key: v for p, v in zip(self.parameters, values, strict=True)})
        runs.travel_m, runs.spare_m = 2.0 * FAR_M, FAR_M
        if self.measured_supply:
            runs.battery_ohm = runs.other_load_a = 0.0
        return runs[0]

    def driven(self, run: Records, move: Move, latency_s: float) -> Floats:
        """Simulate one move with a filled record."""
        out = np.empty((len(move.time_s), len(DRIVEN_COLUMNS)))
        commands = move.commands.copy()
        commands[:, 0] = (move.shifted if self.row_before else commands[:, 0]) + latency_s
        # the first command has been in force for a while: the lift rests
        commands[0, 0] = move.time_s[0]
        place(run, self._body, float(move.time_s[0]), FAR_M, FAR_M - hanging_m(run), 0.0)
        drive_along(run, self._body, commands, int(self._off), move.time_s, out)
        out[:, :2] -= FAR_M
        return out

    def counts_off(self, values: Floats) -> list[Floats]:
        """Simulated minus logged height of every move [counts], (n,) each."""
        run, latency_s = self.record(values), self.latency_s(values)
        return [
            (self.driven(run, move, latency_s)[:, 0] - (move.height_m - move.height_m[0])) / move.count_m
            for move in self.moves
        ]

    def derivatives(self, values: Floats, at: list[Floats]) -> list[Floats]:
        """Change of `counts_off` with each parameter, one (n, p) array a move."""
        columns: list[list[Floats]] = [[] for _ in self.moves]
        for i, parameter in enumerate(self.parameters):
            step = STEP_SHARE * parameter.width
            if values[i] + step > parameter.high:
                step = -step
            moved = values.copy()
            moved[i] += step
            for column, new, old in zip(columns, self.counts_off(moved), at, strict=True):
                column.append((new - old) / step)
        return [np.column_stack(column) for column in columns]


def hanging_m(run: Records) -> float:
    """Stretch of string, belt or screw under the carriage's weight at rest [m]."""
    weight, stiffness = float(run.gravity_n), float(run.pull_n_per_m)
    if run.coupling == Coupling.STRING and run.return_n_per_m > 0.0:
        weight += float(run.return_preload_n)
    return weight / stiffness if weight > 0.0 else 0.0
