"""The routine at a log: its table for a lift or for none, and how it stands where the lift sets out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.builtin import Settings, builtin_table
from homing.kernel.codes import REASON_TEXT, Order, Reason
from homing.kernel.layout import MEMORY, RUN, scratch
from homing.routine import CompiledTable, Role, Table, compile_table
from replay.diagnosis import Visit
from replay.routine_ticks import BITS, PHASE, TAKEN, run_along
from replay.track import Track, filled
from replay.units import Role as Column
from replay.units import Unit
from replay.visits import Visits

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MM = 1e-3
#: Without a lift file only what needs no lift is judged: standstill and agreeing readings [s], [-].
SETTLE_S, AGREE = 0.12, 2
#: Settings that no row without a guard asks about in an approach.
_UNUSED_M, _UNUSED_S = 10.0, 1e3


@dataclass(frozen=True)
class Played:
    """What the routine did from row ``first`` of the log on; arrays (n,) begin there."""

    table: Table
    first: int
    out: Ints
    reasons: Ints
    destinations: Ints

    @property
    def phases(self) -> Ints:
        """Index of the phase in which each row began."""
        return self.out[:, PHASE]

    def _first_to(self, role: Role | None, name: str | None = None) -> int | None:
        for place in np.flatnonzero(self.out[:, TAKEN] >= 0).tolist():
            phase = self.table.phases[int(self.destinations[self.out[place, TAKEN]])]
            if phase.name == name or (role is None and phase.role in (Role.STOPPED, Role.FAULTED)):
                return int(place)
        return None

    @property
    def stop(self) -> int | None:
        """Row index at which the routine stops, or stops itself."""
        place = self._first_to(None)
        return None if place is None else self.first + place

    @property
    def eased(self) -> int | None:
        """Row index at which it enters its slow zone."""
        place = self._first_to(Role.MOVING, "easing_in")
        return None if place is None else self.first + place

    @property
    def reason(self) -> Reason:
        """Why it stopped itself."""
        place = self._first_to(None)
        return Reason.NONE if place is None else Reason(int(self.reasons[self.out[place, TAKEN]]))

    @property
    def faulted(self) -> bool:
        """It stopped itself and not on the reading."""
        return self.reason is not Reason.NONE

    @property
    def why(self) -> str:
        """The reason in words."""
        return REASON_TEXT[self.reason]

    def lacking(self, table: Table, index: int) -> list[str]:
        """Conditions for a zero that do not hold in a row of the log, in words."""
        place = index - self.first
        if not 0 <= place < len(self.out):
            return []
        bits = int(self.out[place, BITS])
        wanted = {
            "standstill": f"{table.condition('standstill').a * 1e3:.0f} ms of standstill",
            "readings_agree": f"{table.condition('readings_agree').a:.0f} made readings in a row",
        }
        return [words for name, words in wanted.items() if not bits >> table.condition_index(name) & 1]


@dataclass(frozen=True)
class Player:
    """The routine with the readings and counts of one log; ``counts`` (n,) are whole."""

    track: Track
    table: Table
    compiled: CompiledTable
    counts: Ints
    made: Ints
    time_s: Floats
    run: Any
    creep_mm_s: float | None

    def whole(self, phase: int) -> Played:
        """The table followed from the first row to the last, beginning like a run of ``verify``."""
        memory = self._memory(0, phase, way=0)
        memory.start_requested = 1
        memory.entered_s = memory.still_since_s = 0.0
        return self._play(memory, 0, len(self.track), follow=1)

    def visit(self, visits: Visits, visit: Visit) -> Played:
        """The approach from where the lift set out, until the next one."""
        begin = self._sets_out(visit)
        memory = self._memory(begin, self.table.phase_index("coming_in"), way=-1)
        zero = self._zero(visits, visit)
        if zero is not None:
            memory.has_zero, memory.zero_counts = 1, zero
        return self._play(memory, begin, visit.end + 1, follow=0)

    def _sets_out(self, visit: Visit) -> int:
        """Last row from which on the lift moved inwards without a pause until the trip."""
        speed = self.track.speed[visit.start : visit.at]
        paused = np.flatnonzero(speed > -self.track.still)
        return visit.start + (int(paused[-1]) + 1 if len(paused) else 0)

    def _zero(self, visits: Visits, visit: Visit) -> float | None:
        """Counts of the declared zero, shown by the last edge read before; None before the first."""
        before = [each for each in visits.visits[: visit.number - 1] if each.edge_read]
        if not before:
            return None
        shown = before[-1]
        track, last = self.track, visits.visits[visit.number - 2]
        # what the counter was set by until the end of the last visit, the routine was told
        shift = sum(each.jump for each in track.sets if each.index <= last.end)
        return float((shown.read_edge + shift) * MM * self.run.counts_per_m)

    def _memory(self, index: int, phase: int, *, way: int) -> Any:
        memory = scratch(MEMORY)[0]
        at_s, counts = float(self.time_s[index]), int(self.counts[index])
        memory.tick_s = memory.previous_tick_s = -1.0
        memory.entered_s = memory.still_since_s = at_s
        memory.counts = memory.previous_counts = memory.entry_counts = counts
        memory.last_made_counts = memory.still_counts = memory.zero_counts = counts
        memory.phase, memory.way = phase, way
        return memory

    def _play(self, memory: Any, begin: int, end: int, *, follow: int) -> Played:
        part = slice(begin, end)
        out = np.zeros((end - begin, 3), dtype=np.int64)
        run_along(
            self.run, memory, self.compiled.arrays(), self.time_s[part],
            self.counts[part], self.made[part], follow, out,
        )  # fmt: skip
        rows = self.compiled.rows
        return Played(self.table, begin, out, rows[:, 5], rows[:, 3])


def player_of(track: Track, lift: Lift | None) -> Player:
    """The built-in routine for a lift, at the readings and counts of a log."""
    assert track.made is not None
    table, reference_m, creep = _table(lift)
    quantum_mm = track.scale if track.log.unit(Column.COUNTS) is Unit.COUNT else track.quantum
    raw_mm = filled(track.log.counts) * track.scale * (-1.0 if track.turned else 1.0)
    run = scratch(RUN)[0]
    run.counts_per_m = 1.0 / (quantum_mm * MM)
    run.period_s, run.reference_m = track.period_s, reference_m
    return Player(
        track=track,
        table=table,
        compiled=compile_table(table),
        counts=np.round(raw_mm / quantum_mm).astype(np.int64),
        made=track.made.astype(np.int64),
        time_s=_ticks(track),
        run=run,
        creep_mm_s=creep,
    )


def _ticks(track: Track) -> Floats:
    """Times of the loops (n,) [s]; a repeated stamp says nothing, and lies between its neighbours.

    Taken at its word it would be a loop of no length, in which any motion is a jump.
    """
    known = np.flatnonzero(np.concatenate([[True], np.diff(track.time_s) > 0]))
    return np.interp(np.arange(len(track)), known, track.time_s[known])


def _table(lift: Lift | None) -> tuple[Table, float, float | None]:
    """Table, reference height [m] and creep speed [mm/s]; without a lift no guards and no slow zone."""
    if lift is None:
        return builtin_table(_bare()).without_guards(), 0.0, None
    from homing.setting import prepare

    reference_mm = lift.routine.reference_mm
    setting = prepare(lift)
    reference_m = setting.trip_m if reference_mm is None else reference_mm * MM
    return setting.table, reference_m, lift.routine.creep_speed_mm_s


def _bare() -> Settings:
    far, long = _UNUSED_M, _UNUSED_S
    return Settings(
        fast_m_s=1.0, creep_m_s=1.0, slow_zone_m=-far, first_lift_m=far, back_off_m=far, leave_limit_m=far,
        stop=Order.HOLD, when_off=Order.SHORTED, settle_s=SETTLE_S, agree_readings=AGREE, timeout_s=long,
        travel_guard_m=far, no_motion_s=long, recheck=False, recheck_tolerance_m=far, retries=0,
        made_below_m=far, seen_above_m=-far, possible_speed_m_s=long,
    )  # fmt: skip
