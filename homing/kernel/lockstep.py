"""The same loop as ``loop.py``, one tick at a time, for a controller that is not a table.

The tick order is the one written there; steps 3 to 5 are the controller's own. Its commands wait for the
drive's latency in ``orders``, a pair of arrays (order, value) with one place for each command under way.
"""

from __future__ import annotations

from typing import Any

from homing.kernel.build import compiled
from homing.kernel.codes import Fault, Mode
from homing.kernel.controller import order, way_of
from homing.kernel.layout import PENDING
from homing.kernel.loop import hear, live_through_period
from homing.kernel.observe import enter
from homing.kernel.plant import battery, motor_current
from homing.kernel.setup import set_up
from homing.kernel.watch import note_acceptance, note_reaction, strike

#: What ``tick`` tells: time [s], reading, counts, battery [V], battery current [A], still running.
HEARD = 6


@compiled
def begin(run: Any, parts: Any, curve: Any, orders: Any, stop: int, seed: int, index: int) -> None:
    """Power up; until its first command the lift stands by the order ``stop``."""
    body = parts[0]
    set_up(run, parts, curve, seed, index)
    orders[0][:], orders[1][:] = stop, 0.0
    order(run, body, stop, 0.0)
    if body.mode == Mode.SPEED and body.carriage_m > 0.0:
        body.integral_a = run.gravity_n / run.force_n_per_a


@compiled
def tick(
    run: Any, parts: Any, periods: Any, orders: Any, no_motion_s: float, seed: int, index: int, heard: Any
) -> None:
    """Live through one period and hear what the controller is told then, (HEARD,)."""
    body, _, memory, _, clock = parts
    if run.fault != Fault.NONE:
        strike(run, body)
    live_through_period(run, parts, periods, orders, seed, index)
    heard[1] = hear(run, parts, no_motion_s)
    current, _ = motor_current(run, body, body.time_s, body.spool_m_s, body.integral_a)
    battery_a, bus_v = battery(run, body, current, body.spool_m_s)
    heard[0], heard[2], heard[3], heard[4] = body.time_s, memory.counts, bus_v, battery_a
    over = body.time_s >= run.max_time_s or body.time_s >= clock.ended_s + run.after_s
    heard[5] = 0.0 if over else 1.0


@compiled
def obey(run: Any, parts: Any, orders: Any, kind: int, value: float) -> None:
    """The controller's command of this loop, felt after the drive's latency; the same one is sent once."""
    body, _, memory, watch, clock = parts
    last = (clock.tick - 1) % PENDING
    place = clock.tick % PENDING
    orders[0][place], orders[1][place] = kind, value
    if orders[0][last] == kind and orders[1][last] == value:
        return
    came_in, way = memory.way < 0, way_of(kind, value)
    if way != memory.way:
        enter(memory, 0, way)
    if way >= 0 and came_in:
        note_reaction(run, body, watch)
    if way == 0 and came_in and memory.made == 1:
        note_acceptance(run, body, watch)
    if clock.pending < PENDING:
        clock.pending_s[clock.pending] = body.time_s + run.drive_latency_s
        clock.pending_phase[clock.pending] = place
        clock.pending += 1


@compiled
def obey_and_tick(
    game: Any, periods: Any, orders: Any, no_motion_s: float, seed: int, index: int, heard: Any, kind: int,
    value: float,
) -> None:  # fmt: skip
    """`obey`, then `tick`, which is what most loops are.

    ``game`` are the run's record and its working records, each in an array of one: to take a record from
    outside costs several times as much as a whole tick, to take an array next to nothing.
    """
    run = game[0][0]
    parts = (game[1][0], game[2][0], game[3][0], game[4][0], game[5][0])
    obey(run, parts, orders, kind, value)
    tick(run, parts, periods, orders, no_motion_s, seed, index, heard)


@compiled
def declare_zero(run: Any, parts: Any, counts: float) -> None:
    """The controller declares these counts to be the reference height."""
    body, _, memory, watch, _ = parts
    memory.zero_counts, memory.has_zero = counts, 1
    if memory.made == 1:
        note_acceptance(run, body, watch)


@compiled
def end(parts: Any, zeroed: bool, reason: int) -> None:
    """The controller says that it is done, or that it has stopped itself; only the first word counts."""
    body, _, _, _, clock = parts
    if clock.ended_s <= body.time_s:
        return
    clock.ended_s = body.time_s
    if zeroed:
        clock.zeroed_s = body.time_s
    else:
        clock.reason = reason
