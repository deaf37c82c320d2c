"""Runs of the second lift (``ode_lift``): commands replayed from a kernel run, or the loop closed again.

``replayed`` gives the plant the commands of a kernel run at the same instants, so that no discrete decision
can differ and the carriage must follow the same path. ``closed`` lets the routine decide anew: only the
plant is the other one, sensor hardware, random numbers and routine are the program's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from ode_lift import OdeLift, Piece
from scipy.optimize import brentq

from homing.kernel import loop, observe, sensing
from homing.kernel.codes import Order
from homing.kernel.layout import (
    MAX_STOPS,
    RESULT_COLUMNS,
    STOP_COLUMNS,
    TRACE_COLUMNS,
    new_scratch,
)
from homing.routine import Role
from homing.simulate import Batch, Setting

TRACE_ROWS = 4000
STANDSTILL_M_S = 2e-3
TIME, PHASE, SPOOL, CARRIAGE = (TRACE_COLUMNS.index(n) for n in ("t_s", "phase", "spool_m", "carriage_m"))


@dataclass
class KernelRun:
    """What the kernel did in one run: trace rows (SI), result columns by name, stops."""

    trace: np.ndarray
    result: dict[str, float]
    stops: np.ndarray


def kernel_run(setting: Setting, batch: Batch, i: int) -> KernelRun:
    stops, trace = np.zeros((MAX_STOPS, STOP_COLUMNS)), np.zeros((TRACE_ROWS, len(TRACE_COLUMNS)))
    result = np.empty(len(RESULT_COLUMNS))
    body, sense, memory, watch = new_scratch(setting.error_share)
    loop.simulate_run(
        batch.runs[i], body[0], sense[0], memory[0], watch[0], batch.sensor.signal[i], setting.periods_s,
        setting.kernel_table(), setting.seed, int(batch.indices[i]), stops, trace, result,
    )  # fmt: skip
    columns = dict(zip(RESULT_COLUMNS, result.tolist(), strict=True))
    return KernelRun(trace[: int(columns["trace_rows"])], columns, stops[stops[:, 0] != 0.0])


@dataclass
class Measure:
    """Stop distance, overtravel and slack, written anew from their definitions."""

    trip_m: float
    release_m: float
    settle_s: float
    distances_m: list[float] = field(default_factory=list)
    overtravel_m: float = 0.0
    slack_m: float = 0.0
    _open: bool = False
    _deepest: float = 0.0
    _moved_s: float = 0.0

    def note(self, piece: Piece) -> None:
        s, u, x, v, _ = piece.after
        self._note_slack(piece)
        if not self._open and piece.before[2] > self.trip_m >= x:
            self._open, self._deepest = True, self.trip_m
        if abs(u) > STANDSTILL_M_S or abs(v) > STANDSTILL_M_S:
            self._moved_s = piece.t1
        if not self._open:
            return
        # carriage and spool turn only where a piece ends, so the ends hold the extremes
        self._deepest = min(self._deepest, x)
        self.overtravel_m = max(self.overtravel_m, self.trip_m - s)
        if piece.t1 - self._moved_s >= self.settle_s or (x > self.release_m and x > self._deepest):
            self.finish()

    def finish(self) -> None:
        if self._open:
            self.distances_m.append(self.trip_m - self._deepest)
        self._open = False

    def _note_slack(self, piece: Piece) -> None:
        before, after = piece.before, piece.after
        self.slack_m = max(self.slack_m, after[2] - after[0])
        if before[3] > before[1] and after[3] < after[1]:
            inside = piece.inside()
            if (inside(piece.t0)[3] - inside(piece.t0)[1]) * (inside(piece.t1)[3] - inside(piece.t1)[1]) < 0:
                at = brentq(lambda t: inside(t)[3] - inside(t)[1], piece.t0, piece.t1)
                self.slack_m = max(self.slack_m, inside(at)[2] - inside(at)[0])


@dataclass
class OdeRun:
    """What the second lift did: state at each loop, measures, phases entered."""

    times_s: np.ndarray
    states: np.ndarray
    phases: np.ndarray
    measure: Measure
    evaluations: int


def _measure(run: Any) -> Measure:
    return Measure(float(run.trip_m), float(run.release_m), float(run.settle_s))


def orders_of(setting: Setting, run: Any, trace: np.ndarray) -> list[tuple[float, Order, float]]:
    """(instant at which the drive obeys, order, value) of a kernel run, read off its trace."""
    table = setting.compiled
    found = []
    for before, after in zip(trace[:-1], trace[1:], strict=True):
        if before[PHASE] != after[PHASE]:
            phase = int(after[PHASE])
            obeyed_s = float(before[TIME] + run.drive_latency_s)
            found.append((obeyed_s, Order(int(table.phase_order[phase])), float(table.phase_value[phase])))
    return found


def replayed(setting: Setting, batch: Batch, i: int, kernel: KernelRun, **solver: Any) -> OdeRun:
    """The kernel's commands, open loop, at the same instants and loops."""
    run, table = batch.runs[i], setting.compiled
    lift, measure = OdeLift(run, **solver), _measure(run)
    lift.power_up(Order(int(table.phase_order[0])), float(table.phase_value[0]))
    orders, states = orders_of(setting, run, kernel.trace), []
    for tick_s in kernel.trace[:, TIME]:
        while orders and orders[0][0] <= tick_s:
            obeyed_s, order, value = orders.pop(0)
            for piece in lift.advance(obeyed_s):
                measure.note(piece)
            lift.order(order, value)
        for piece in lift.advance(float(tick_s)):
            measure.note(piece)
        states.append(lift.y.copy())
    measure.finish()
    return OdeRun(kernel.trace[:, TIME], np.array(states), kernel.trace[:, PHASE], measure, lift.evaluations)


def closed(setting: Setting, batch: Batch, i: int, **solver: Any) -> OdeRun:
    """The whole loop with the second lift as plant; the tick order is that of the design, section 3."""
    return _Closed(setting, batch, i, **solver).go()


class _Closed:
    def __init__(self, setting: Setting, batch: Batch, i: int, **solver: Any) -> None:
        self.setting, self.table = setting, setting.compiled
        self.run, self.curve = batch.runs[i], batch.sensor.signal[i]
        self.seed, self.index = setting.seed, int(batch.indices[i])
        body, sense, memory, watch = new_scratch()
        self.body, self.sense, self.memory, self.watch = body[0], sense[0], memory[0], watch[0]
        loop.set_up(self.run, self.body, self.sense, self.memory, self.watch, self.curve, self.seed, self.index)
        self.lift, self.measure = OdeLift(self.run, **solver), _measure(self.run)
        self.waiting: list[tuple[float, int]] = []

    def _order_of(self, phase: int) -> tuple[Order, float]:
        return Order(int(self.table.phase_order[phase])), float(self.table.phase_value[phase])

    def _advance(self, end_s: float) -> None:
        for piece in self.lift.advance(end_s):
            self.measure.note(piece)
            self._show_sensor(piece)

    def _show_sensor(self, piece: Piece) -> None:
        """Give the sensor hardware the step just made, as the kernel's own step would have left it."""
        body, (s, u, x, v, z) = self.body, piece.after
        body.time_s, body.spool_m, body.spool_m_s, body.carriage_m, body.carriage_m_s = piece.t1, s, u, x, v
        body.integral_a, body.mode, body.duty = z, int(self.lift.drive.mode), self.lift.drive.duty
        body.old_carriage_m, body.old_carriage_m_s = piece.before[2], piece.before[3]
        sensing.sense_step(
            self.run, body, self.sense, self.curve, piece.t1 - piece.t0, self.seed, self.index
        )

    def go(self) -> OdeRun:
        run, memory, sense, t = self.run, self.memory, self.sense, self.table
        roles = list(Role)
        self.lift.power_up(*self._order_of(0))
        times, states, phases, ended_s = [], [], [], np.inf
        while self.lift.t < min(run.max_time_s, ended_s + run.after_s):
            length = loop.next_period(
                run, self.body, self.watch, self.setting.periods_s, 0, self.seed, self.index, len(times)
            )
            end_s = self.lift.t + length
            sense.read_s = end_s - run.sensor_latency_s
            while self.waiting and self.waiting[0][0] <= end_s:
                obeyed_s, phase = self.waiting.pop(0)
                self._advance(obeyed_s)
                self.lift.order(*self._order_of(phase))
            self._advance(end_s)
            counts = int(np.floor(self.lift.y[0] * run.counts_per_m + run.count_phase))
            observe.take_note(run, memory, self.lift.t, counts, sense.reading)
            times.append(self.lift.t)
            states.append(self.lift.y.copy())
            phases.append(int(memory.phase))
            bits = observe.observe(run, memory, t.phase_needs[memory.phase], t.kinds, t.parameters)
            row = observe.choose_row(t.rows, t.first_row, memory.phase, bits)
            if row < 0:
                continue
            observe.apply_effects(memory, t.rows[row, 4])
            to = int(t.rows[row, 3])
            order, value = self._order_of(to)
            observe.enter(memory, to, loop.way_of(order, value))
            self.waiting.append((self.lift.t + run.drive_latency_s, to))
            if roles[t.phase_role[to]] in (Role.ZEROED, Role.FAULTED):
                ended_s = self.lift.t
        self.measure.finish()
        return OdeRun(
            np.array(times), np.array(states), np.array(phases), self.measure, self.lift.evaluations
        )
