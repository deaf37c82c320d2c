"""The lift written a second time, for a general ODE solver: what our compiled kernel is held against.

The right-hand side follows the numbered equations in the docstring of ``homing.lift`` and shares no code
with the kernel. It takes a kernel record (``homing.kernel.layout.RUN``) only as a list of numbers. scipy's
DOP853 or LSODA runs at a relative tolerance of 1e-9, started anew at each controller loop, each change of
command, and each event: a body that comes to rest or breaks away, a string that snaps taut or goes slack,
a touch of either stop.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from ode_equations import LEAST_TOUCH_M_S, Drive, Equations
from scipy.integrate import DOP853, LSODA
from scipy.optimize import brentq

from homing.kernel.codes import Coupling, Mode, Order

SOLVERS = {"DOP853": DOP853, "LSODA": LSODA}
#: Longest step of the solver while something moves, so that no event comes and goes unseen within one [s].
LONGEST_S = 4e-3
#: A body slower than this against its way of sliding has not turned, it is rounding [m/s].
NO_SPEED_M_S = 1e-13
#: A string within this of its natural length is neither taut nor slack [m].
NO_LENGTH_M = 1e-12
#: An event is taken this much late, so that it lies behind and is not met again [s].
JUST_AFTER_S = 1e-12


@dataclass
class Piece:
    """One step of the solver, shortened to its first event: state (s, u, x, v, z) before and after."""

    t0: float
    t1: float
    before: np.ndarray
    after: np.ndarray
    inside: Callable[[], Callable[[float], np.ndarray]]


class OdeLift(Equations):
    """One lift under a general ODE solver."""

    def __init__(self, run: Any, solver: str = "DOP853", relative_tolerance: float = 1e-9) -> None:
        super().__init__(run)
        self.solver, self.rtol = SOLVERS[solver], relative_tolerance
        self.t = 0.0
        self.y = self._start()
        self.spool_way = self.carriage_way = 0

    def _start(self) -> np.ndarray:
        """At rest at the start height: string taut under the weight, or standing on the stop."""
        p = self.p
        on_stop = -max(p["gravity_n"], 0.0) / p["stop_n_per_m"]
        if p["start_m"] <= 0.0:
            # a string hangs loose there, a belt or screw stands where its carriage does
            drive = 0.0 if p["coupling"] == Coupling.STRING else on_stop
            return np.array([drive, 0.0, on_stop, 0.0, 0.0])
        return np.array([p["start_m"] + p["gravity_n"] / p["pull_n_per_m"], 0.0, p["start_m"], 0.0, 0.0])

    def rhs(self, t: float, y: np.ndarray) -> tuple[float, ...]:
        """Equation of motion with the present ways of sliding."""
        free, motor, string, growth = self.forces(t, y)
        a_spool = a_carriage = 0.0
        if self.spool_way:
            a_spool = self.spool_force(motor, string, self.spool_way) / self.p["spool_mass_kg"]
        if self.carriage_way:
            a_carriage = (free - self.carriage_way * self.p["friction_n"]) / self.p["mass_kg"]
        return y[1], a_spool, y[3], a_carriage, growth

    # --- sticking, equation (9) -----------------------------------------------------------------------

    def pushes(self, t: float, y: np.ndarray) -> tuple[float, float]:
        """Force beyond what holds a resting spool and a resting carriage, signed; 0 if held."""
        free, motor, string, _ = self.forces(t, y)
        out, inwards = self.spool_force(motor, string, 1), self.spool_force(motor, string, -1)
        spool = out if out > 0 else min(inwards, 0.0)
        return spool, math.copysign(max(abs(free) - self.p["static_friction_n"], 0.0), free)

    def rest(self, spool: bool, carriage: bool) -> None:
        """Bodies named have come to rest, or were at rest: let them stick, turn or break away."""
        if spool:
            self.y[1] = 0.0
        if carriage:
            self.y[3] = 0.0
        push_spool, push_carriage = self.pushes(self.t, self.y)
        if spool:
            self.spool_way = int(np.sign(push_spool))
        if carriage:
            self.carriage_way = int(np.sign(push_carriage))

    # --- commands and time ----------------------------------------------------------------------------

    def order(self, kind: Order, value: float) -> None:
        """The drive begins to obey a phase's command."""
        p, drive = self.p, self.drive
        speed = value if kind == Order.SPEED else 0.0
        if kind in (Order.SHORTED, Order.OPEN):
            drive.mode = Mode.SHORTED if kind == Order.SHORTED else Mode.OPEN
        elif kind == Order.DUTY or p["command"] == Mode.DUTY:
            drive.mode = Mode.DUTY
            drive.duty = float(np.clip(value if kind == Order.DUTY else self.duty_for(speed), -1, 1))
        else:
            now = drive.speed_at(self.t) if drive.mode == Mode.SPEED else float(self.y[1])
            if drive.mode != Mode.SPEED:
                self.y[4] = 0.0
            slope = p["deceleration_m_s2" if abs(speed) < abs(now) else "acceleration_m_s2"]
            self.drive = Drive(Mode.SPEED, 0.0, speed, now, self.t, self.t + abs(speed - now) / slope)
        self.rest(self.spool_way == 0, self.carriage_way == 0)

    def power_up(self, kind: Order, value: float) -> None:
        """First command; a drive that holds the lift already carries its weight."""
        self.order(kind, value)
        if self.drive.mode == Mode.SPEED and self.y[2] > 0.0:
            self.y[4] = self.p["gravity_n"] / self.p["force_n_per_a"]

    def advance(self, end_s: float) -> Iterator[Piece]:
        """Integrate to ``end_s``, piece by piece."""
        while self.t < end_s:
            ramp = self.drive.ramp_end
            in_ramp = self.drive.mode == Mode.SPEED and self.t < ramp < end_s
            yield from self._smooth(ramp if in_ramp else end_s)

    def _smooth(self, goal: float) -> Iterator[Piece]:
        """From now to ``goal`` or to the first event, whichever comes first."""
        self.rest(self.spool_way == 0, self.carriage_way == 0)
        solver = self.solver(
            self.rhs,
            self.t,
            self.y,
            goal,
            max_step=LONGEST_S if self.spool_way or self.carriage_way else np.inf,
            rtol=self.rtol,
            atol=[1e-12, 1e-11, 1e-12, 1e-11, 1e-9],
        )
        while solver.status == "running":
            before, t0 = self.y, self.t
            message = solver.step()
            assert solver.status != "failed", message
            event = self._first_event(solver, before, t0)
            self.t, self.y = (solver.t, solver.y.copy()) if event is None else event[:2]
            yield Piece(t0, self.t, before, self.y.copy(), solver.dense_output)
            if event is not None:
                event[2]()
                return

    def _first_event(self, solver: Any, before: np.ndarray, t0: float) -> Any:
        """(time, state, what follows) of the earliest event within the last step, or None."""
        found = []
        for value, follows in self._watched():
            first, last = value(t0, before), value(solver.t, solver.y)
            if last <= 0.0:
                continue
            inside = solver.dense_output()
            when = solver.t
            if first < 0.0:
                root = brentq(lambda t, q=value, y=inside: q(t, y(t)), t0, solver.t, xtol=1e-14)
                when = min(root + JUST_AFTER_S, solver.t)
            found.append((when, inside(when), follows))
        return min(found, key=lambda event: event[0], default=None)

    def _watched(self) -> list[tuple[Callable[[float, np.ndarray], float], Callable[[], None]]]:
        """Quantities whose growing through zero ends a smooth piece, and what happens then."""
        travel = self.p["travel_m"]
        watched: list[Any] = []
        for way, column, rest in ((self.spool_way, 1, (True, False)), (self.carriage_way, 3, (False, True))):
            if way:
                watched.append(
                    (lambda _t, y, w=way, c=column: -w * y[c] - NO_SPEED_M_S, lambda r=rest: self.rest(*r))
                )
        if not self.spool_way:
            watched.append((self._spool_excess, lambda: self.rest(True, False)))
        if not self.carriage_way:
            watched.append((self._carriage_excess, lambda: self.rest(False, True)))
        if self.y[2] > 0.0:
            watched.append((lambda _t, y: -y[2], self._touch_low))
        if self.y[2] < travel:
            watched.append((lambda _t, y: y[2] - travel, self._touch_high))
        stretch = self._stretch(0.0, self.y)
        if abs(stretch) > NO_LENGTH_M:
            side = math.copysign(1.0, stretch)
            watched.append((lambda t, y: -side * self._stretch(t, y), lambda: None))
        return watched

    def _spool_excess(self, t: float, y: np.ndarray) -> float:
        _, motor, string, _ = self.forces(t, y)
        return max(self.spool_force(motor, string, 1), -self.spool_force(motor, string, -1))

    def _carriage_excess(self, t: float, y: np.ndarray) -> float:
        return abs(self.forces(t, y)[0]) - self.p["static_friction_n"]

    def _stretch(self, _t: float, y: np.ndarray) -> float:
        return self.line(float(y[0]))[0] - float(y[2])

    def _touch_low(self) -> None:
        self.y[2] = -0.0
        self.touch_low = max(-float(self.y[3]), LEAST_TOUCH_M_S)

    def _touch_high(self) -> None:
        self.y[2] = self.p["travel_m"]
        self.touch_high = max(float(self.y[3]), LEAST_TOUCH_M_S)
