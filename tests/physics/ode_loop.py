"""Runs of the second lift (``ode_lift``): commands replayed from a kernel run, or the loop closed again.

``replayed`` gives the plant the commands of a kernel run at the same instants, so that no discrete decision
can differ and the carriage must follow the same path. ``closed`` lets the routine decide anew: only the
plant is the other one, sensor hardware, random numbers and routine are the program's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from ode_lift import OdeLift, Piece
from scipy.optimize import brentq

from homing.batches import Batch
from homing.kernel import controller, loop, observe, sensing
from homing.kernel.codes import Order
from homing.kernel.layout import (
    MAX_STOPS,
    RESULT_COLUMNS,
    STOP_COLUMNS,
    TRACE_COLUMNS,
    new_scratch,
)
from homing.kernel.setup import set_up
from homing.setting import Setting

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
    parts = tuple(records[0] for records in new_scratch(setting.error_share))
    loop.simulate_run(
        batch.runs[i], parts, batch.sensor.signal[i], setting.periods_s, setting.kernel_table(), setting.seed,
        int(batch.indices[i]), stops, trace, result,
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
        self._note_slack(piece)
        self.note_ends(piece.before, piece.after, piece.t1)

    def note_ends(self, before: np.ndarray, after: np.ndarray, t: float) -> None:
        """A step between two states; carriage and spool turn only where a step ends."""
        s, u, x, v, _ = after
        self.slack_m = max(self.slack_m, x - s)
        if not self._open and before[2] > self.trip_m >= x:
            self._open, self._deepest = True, self.trip_m
        if abs(u) > STANDSTILL_M_S or abs(v) > STANDSTILL_M_S:
            self._moved_s = t
        if not self._open:
            return
        self._deepest = min(self._deepest, x)
        self.overtravel_m = max(self.overtravel_m, self.trip_m - s)
        if t - self._moved_s >= self.settle_s or (x > self.release_m and x > self._deepest):
            self.finish()

    def finish(self) -> None:
        if self._open:
            self.distances_m.append(self.trip_m - self._deepest)
        self._open = False

    def _note_slack(self, piece: Piece) -> None:
        before, after = piece.before, piece.after
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
    for before, after in pairwise(trace):
        if before[PHASE] != after[PHASE]:
            phase = int(after[PHASE])
            obeyed_s = float(before[TIME] + run.drive_latency_s)
            found.append((obeyed_s, Order(int(table.phase_order[phase])), float(table.phase_value[phase])))
    return found


def replayed(
    setting: Setting,
    batch: Batch,
    i: int,
    kernel: KernelRun,
    lift_kind: type[OdeLift] = OdeLift,
    **solver: Any,
) -> OdeRun:
    """The kernel's commands, open loop, at the same instants and loops."""
    run, table = batch.runs[i], setting.compiled
    lift, measure = lift_kind(run, **solver), _measure(run)
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
        self.setting, self.table = setting, setting.kernel_table()
        self.run, self.curve = batch.runs[i], batch.sensor.signal[i]
        self.numbers = setting.seed, int(batch.indices[i])
        self.parts = tuple(records[0] for records in new_scratch())
        set_up(self.run, self.parts, self.curve, *self.numbers)
        self.lift, self.measure = OdeLift(self.run, **solver), _measure(self.run)
        self.lift.power_up(*self._order_of(0))

    def _order_of(self, phase: int) -> tuple[Order, float]:
        return Order(int(self.table[0][phase])), float(self.table[1][phase])

    def _advance(self, end_s: float) -> None:
        """Plant and sensor; the sensor sees the step just made as the kernel's own would have left it."""
        body, sense = self.parts[0], self.parts[1]
        for piece in self.lift.advance(end_s):
            self.measure.note(piece)
            body.time_s, body.integral_a = piece.t1, piece.after[4]
            body.spool_m, body.spool_m_s, body.carriage_m, body.carriage_m_s = piece.after[:4]
            body.old_carriage_m, body.old_carriage_m_s = piece.before[2:4]
            body.mode, body.duty = int(self.lift.drive.mode), self.lift.drive.duty
            sensing.sense_step(self.run, body, sense, piece.t1 - piece.t0, *self.numbers)

    def _period(self) -> None:
        body, sense, _, _, clock = self.parts
        length = controller.next_period(self.run, body, clock, self.setting.periods_s, *self.numbers)
        end_s = self.lift.t + length
        sense.read_s, sense.taken = end_s - self.run.read_before_s, 0
        while clock.pending > 0 and clock.pending_s[0] <= end_s:
            self._advance(float(clock.pending_s[0]))
            self.lift.order(*self._order_of(int(clock.pending_phase[0])))
            clock.pending -= 1
            clock.pending_s[:-1], clock.pending_phase[:-1] = (
                clock.pending_s[1:].copy(),
                clock.pending_phase[1:].copy(),
            )
        self._advance(end_s)
        clock.tick += 1

    def go(self) -> OdeRun:
        run, parts, table = self.run, self.parts, self.table
        _, _, _, needs, first_row, rows, kinds, parameters, no_motion_s = table
        memory, clock = parts[2], parts[4]
        times, states, phases = [], [], []
        while self.lift.t < min(run.max_time_s, clock.ended_s + run.after_s):
            self._period()
            made = loop.hear(run, parts, no_motion_s)
            times.append(self.lift.t)
            states.append(self.lift.y.copy())
            phases.append(int(memory.phase))
            bits = observe.observe(run, memory, needs[memory.phase], kinds, parameters)
            row = observe.choose_row(rows, first_row, memory.phase, bits)
            if row >= 0:
                loop.take_row(run, parts, table, rows[row], made)
        self.measure.finish()
        return OdeRun(
            np.array(times), np.array(states), np.array(phases), self.measure, self.lift.evaluations
        )
