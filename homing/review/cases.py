"""Runs of the full simulation that break the same invariant as a story of the abstract lift.

Tried are nominal runs from the story's start, drawn runs, and drawn runs with the faults that come nearest to
the story's. None found does not say that there is none.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.batches import batch, nominal_batch
from homing.faults import FAULT_BASE, FAULT_STEP, FaultPlan, faults_for
from homing.kernel.codes import Condition, Fault
from homing.results import Run
from homing.review.cells import GUARD_SHARE, Cell
from homing.review.invariants import Invariant
from homing.review.physics import Broken
from homing.review.scene import ZEROING
from homing.routine import Role, Table
from homing.setting import prepare
from homing.simulate import traced

if TYPE_CHECKING:
    from homing.setting import Setting

#: Runs tried: drawn ones without a fault, and of each fault that fits.
DRAWN_RUNS, FAULT_RUNS = 160, 64
#: Places within the story's first zone from which nominal runs start.
START_SHARES = (0.5, 0.05, 0.95, 0.005, 0.02)
#: Faster than this it moves, by the contract's standstill [mm/s].
MOVES_MM_S = 2.0
#: Spool this far past the stop has thrown string, beyond stretch [mm]. Own choice.
SLACK_MM = 4.0

_NEAREST: dict[Broken, tuple[Fault, ...]] = {
    Broken.NOTHING: (),
    Broken.STUCK_ON: (Fault.STUCK_ON,),
    Broken.STUCK_OFF: (Fault.STUCK_OFF, Fault.TARGET_DROPPED),
    Broken.INVERTED: (Fault.INVERTED,),
    Broken.LATE: (Fault.LATE_LOOP, Fault.STALE_READINGS),
    Broken.CHATTER: (Fault.NOISE, Fault.WORN_CONTACT, Fault.HEIGHT_DROPOUT),
    Broken.JAM: (Fault.STICKY_SPOT,),
    Broken.WRONG_HEIGHT: (Fault.COUNT_RESET, Fault.HUB_SLIP),
    Broken.COUNTS_JUMP: (Fault.COUNT_RESET,),
    Broken.COUNTS_LOST: (Fault.COUNT_LOSS,),
    Broken.REVERSED: (Fault.DRIVE_REVERSED,),
}


def find_case(setting: Setting, invariant: Invariant, broken: Broken, start: Cell) -> dict[str, Any] | None:
    """A run that breaks the invariant, with what is needed to repeat it; None if none was found."""
    for case, run in _runs(setting, broken, start):
        at = broken_at(invariant, setting, run)
        if at is not None:
            seen = {"t_s": round(float(run.trace["t_s"][at]), 4), "state": str(run.trace["state"][at])}
            return {**case, **seen, "outcome": run.outcome.word}
    return None


def _runs(setting: Setting, broken: Broken, start: Cell) -> Iterator[tuple[dict[str, Any], Run]]:
    lift, plain = setting.lift, {"seed": setting.seed, "run": None, "fault": None}
    if broken is Broken.NOTHING:
        for share in START_SHARES:
            start_mm = round(1000 * max(0.0, start.low_m + share * (start.high_m - start.low_m)), 2)
            moved = prepare(lift.replace({"lift.start_mm": start_mm}), setting.seed).with_table(setting.table)
            yield {"start_mm": start_mm, **plain}, traced(moved, nominal_batch(moved), None)
        for number in range(DRAWN_RUNS):
            made = batch(setting, np.array([number], dtype=np.int64))
            start_mm = round(1000 * float(made.runs.start_m[0]), 2)
            yield {"start_mm": start_mm, **plain, "run": number}, traced(setting, made, number)
    for which, kind in enumerate(faults_for(lift)):
        if kind.code not in _NEAREST[broken]:
            continue
        for k in range(FAULT_RUNS):
            number = FAULT_BASE + which * FAULT_STEP + k
            made = batch(setting, np.array([number], dtype=np.int64), FaultPlan())
            start_mm = round(1000 * float(made.runs.start_m[0]), 2)
            case = {"start_mm": start_mm, "seed": setting.seed, "run": number, "fault": kind.name}
            yield case, traced(setting, made, number)


def broken_at(invariant: Invariant, setting: Setting, run: Run) -> int | None:
    """Loop of a run in which an invariant is broken; None where it holds throughout."""
    wrong = _WRONG[invariant](setting, run)
    found = np.flatnonzero(wrong)
    return int(found[0]) if len(found) else None


Bools = NDArray[np.bool_]


def _ways(table: Table, run: Run) -> NDArray[np.int64]:
    way = {phase.name: phase.command.way for phase in table.phases}
    return np.array([way[str(name)] for name in run.trace["state"]], dtype=np.int64)


def _next(values: NDArray[Any]) -> NDArray[Any]:
    return np.append(values[1:], values[-1:])


def _twice_made(setting: Setting, run: Run) -> Bools:
    made = run.trace[f"reading_{setting.lift.routine.sensor}"] > 0
    before = np.append(False, made[:-1])
    inwards = _ways(setting.table, run) < 0
    return np.asarray(made & before & inwards & _next(inwards))


def _on_the_stop(setting: Setting, run: Run) -> Bools:
    inwards = _ways(setting.table, run) < 0
    return np.asarray(inwards & _next(inwards) & (run.trace["spool_mm"] < -SLACK_MM))


def _too_far(setting: Setting, run: Run) -> Bools:
    state, spool = run.trace["state"], run.trace["spool_mm"]
    entered = np.flatnonzero(np.append(True, state[1:] != state[:-1]))
    began = spool[entered[np.searchsorted(entered, np.arange(len(state)), side="right") - 1]]
    return np.asarray(np.abs(spool - began) > (1 + GUARD_SHARE) * setting.lift.lift.travel_mm)


def _fault_moves(setting: Setting, run: Run) -> Bools:
    faulted = _in(setting.table, run, Role.FAULTED)
    return np.asarray(faulted & ((_ways(setting.table, run) != 0) | ~_next(faulted)))


def _in(table: Table, run: Run, *roles: Role) -> Bools:
    names = {phase.name for phase in table.phases if phase.role in roles}
    return np.array([str(name) in names for name in run.trace["state"]], dtype=bool)


def _sets_zero(table: Table, run: Run) -> Bools:
    """Loops in which a row is taken that sets zero, as far as phases tell."""
    ways = {(row.source, row.to) for row in table.rows if set(row.effects) & set(ZEROING)}
    state = run.trace["state"]
    return np.array(
        [a != b and (str(a), str(b)) in ways for a, b in zip(state, _next(state), strict=True)], dtype=bool
    )


def _zero_at_home(setting: Setting, run: Run) -> Bools:
    """Loops in which a row that leads back to its own phase sets zero because the reading is made."""
    table = setting.table
    at = {
        row.source
        for row in table.rows
        if row.source == row.to
        and set(row.effects) & set(ZEROING)
        and {table.condition(name).kind for name in row.when} == {Condition.MADE}
    }
    made = run.trace[f"reading_{setting.lift.routine.sensor}"] > 0
    return np.array([str(name) in at for name in run.trace["state"]], dtype=bool) & made


def _zero_moving(setting: Setting, run: Run) -> Bools:
    sets = _sets_zero(setting.table, run) | _zero_at_home(setting, run)
    return np.asarray(sets & (np.abs(run.trace["carriage_mm_s"]) > MOVES_MM_S))


def _zero_elsewhere(setting: Setting, run: Run) -> Bools:
    sets = _sets_zero(setting.table, run)
    high = run.trace["carriage_mm"] > 1000 * setting.zone_m[1]
    far_off = abs(run.metrics["zero_error_mm"]) > 1000 * max(setting.trip_m, 0.0)
    return np.asarray(sets & (high | (run.trace["spool_mm"] < -SLACK_MM) | far_off))


def _zeroed_without(setting: Setting, run: Run) -> Bools:
    was_set = np.cumsum(_sets_zero(setting.table, run)) > 0
    return np.asarray(_in(setting.table, run, Role.ZEROED) & ~was_set)


def _no_end(setting: Setting, run: Run) -> Bools:
    ended = _in(setting.table, run, Role.ZEROED, Role.FAULTED).any()
    last = np.zeros(len(run.trace), dtype=bool)
    last[-1:] = not ended
    return last


_WRONG = {
    Invariant.MADE: _twice_made,
    Invariant.STOP: _on_the_stop,
    Invariant.GUARD: _too_far,
    Invariant.FAULTED: _fault_moves,
    Invariant.STANDING: _zero_moving,
    Invariant.IN_ZONE: _zero_elsewhere,
    Invariant.HAS_ZERO: _zeroed_without,
    Invariant.ENDS: _no_end,
}
