"""What the causes look at: the bad visit, its neighbours, and readings that contradict the height."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from replay.contrary import Contrary, contrary_runs
from replay.descents import Descent
from replay.diagnosis import EdgeChart, Visit
from replay.track import Track
from replay.units import Role
from replay.visits import Visits, switched_off
from sensor_models.kinds import SensorKind

__all__ = ["Contrary", "Facts"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: The load is averaged over this time [s].
LOAD_S = 0.12
#: A loop is late when it is this many times the median and this much longer [s]: jitter is neither.
LATE_TIMES, LATE_S = 2.2, 0.02


@dataclass(frozen=True)
class Facts:
    """Facts of one log, for one visit.

    ``bad`` is the visit in question, None where none went past the limit; ``kind`` the sensor's kind where
    a lift file says it.
    """

    track: Track
    visits: Visits
    bad: Visit | None
    limit: float
    kind: SensorKind | None
    chart: EdgeChart

    def rows(self, first: int, last: int | None = None) -> str:
        """Rows in words."""
        low, high = self.track.rows(first, first if last is None else last)
        return f"row {low}" if low == high else f"rows {low}-{high}"

    def has(self, role: Role) -> bool:
        """Whether the log has a column."""
        return role in self.track.log

    @property
    def missing(self) -> tuple[str, ...]:
        """Columns that the log lacks."""
        wanted = (Role.COMMAND, Role.SENSOR, Role.BATTERY, Role.CURRENT, Role.STATE)
        return tuple(role.value for role in wanted if role not in self.track.log)

    @property
    def descent(self) -> Descent | None:
        """Descent of the bad visit."""
        return None if self.bad is None else self.visits.descent(self.bad)

    @cached_property
    def good(self) -> tuple[Visit, ...]:
        """Visits that kept the limit."""
        return tuple(each for each in self.visits.visits if each.overtravel <= self.limit)

    @cached_property
    def before(self) -> tuple[Visit, ...]:
        """Visits before the bad one."""
        return () if self.bad is None else self.visits.visits[: self.bad.number - 1]

    @cached_property
    def later(self) -> tuple[Visit, ...]:
        """Visits after the bad one."""
        return () if self.bad is None else self.visits.visits[self.bad.number :]

    @cached_property
    def usual_speed(self) -> float:
        """Median approach speed of the visits that kept the limit; NaN without any [mm/s]."""
        return float(np.median([each.approach_speed for each in self.good])) if self.good else float("nan")

    @cached_property
    def speed_ratio(self) -> float:
        """Approach speed of the bad visit over the usual one; 1 where nothing can be compared."""
        if self.bad is None or not self.good:
            return 1.0
        return self.bad.approach_speed / max(self.usual_speed, 2 * self.track.still)

    @cached_property
    def late_s(self) -> float:
        """Time from passing the trip to the first made reading [s]; inf if it never came."""
        if self.bad is None or self.bad.seen is None:
            return float("inf")
        return float(max(0.0, self.track.time_s[self.bad.seen] - self.track.time_s[self.bad.at]))

    @cached_property
    def prompt(self) -> bool:
        """The reading came with the row in which the trip was passed, the next, or within a count of it."""
        if self.late_s <= 1.6 * self.track.period_s + 0.005:
            return True
        if self.bad is None or self.bad.seen is None or self.loop_was_late:
            return False
        return self.bad.edge - float(self.track.height[self.bad.seen]) <= 1.5 * self.track.quantum + 0.5

    @cached_property
    def blind(self) -> bool:
        """The trip was passed no faster than usual, loops and counts in order, without a reading."""
        bad, track = self.bad, self.track
        if bad is None or track.made is None or self.prompt or self.loop_was_late or self.speed_ratio > 1.4:
            return False
        return not any(run.first <= bad.stand and run.last >= bad.at - 1 for run in track.frozen)

    @cached_property
    def late_step(self) -> tuple[int, float]:
        """Row and length [s] of the longest loop from just before the trip to the changed command."""
        if self.bad is None:
            return 0, 0.0
        track, bad = self.track, self.bad
        last = bad.at + 1 if bad.seen is None else max(bad.at, bad.seen) + 1
        part = track.span(bad.at - 1, last)
        index = part.start + int(np.argmax(track.step_s[part]))
        return index, float(track.step_s[index])

    @property
    def loop_was_late(self) -> bool:
        """A late loop lay across the trip."""
        return self.late_step[1] > max(LATE_TIMES * self.track.period_s, self.track.period_s + LATE_S)

    @cached_property
    def unread_way(self) -> float:
        """Way past the trip [mm] until the first made reading, less that of a usual loop; 0 if it was prompt.

        A usual loop waits for half its period; the way cannot be longer than the whole overtravel.
        """
        bad, track = self.bad, self.track
        if bad is None or bad.seen is None or (self.prompt and not self.loop_was_late):
            return 0.0
        way = min(bad.edge - float(track.height[bad.seen]), bad.overtravel)
        return max(0.0, way - min(way, bad.approach_speed * track.period_s) / 2)

    @cached_property
    def trip_of_row(self) -> Floats:
        """Trip height that holds at each row (n,) [mm]; NaN where none is known."""
        trips = np.full(len(self.track), np.nan)
        for each, trip in zip(self.visits.descents, self.visits.trips, strict=True):
            trips[each.start : each.end + 1] = trip
        if self.visits.descents:
            trips[: self.visits.descents[0].start] = self.visits.trips[0]
        good = np.flatnonzero(np.isfinite(trips))
        if len(good):
            last = np.maximum.accumulate(np.where(np.isfinite(trips), np.arange(len(trips)), good[0]))
            trips = trips[last]
        return trips

    @cached_property
    def contrary(self) -> tuple[Contrary, ...]:
        """All runs of readings that the height contradicts."""
        return contrary_runs(self.track, self.trip_of_row, self._arrived, self.good)

    @cached_property
    def load(self) -> Floats | None:
        """What the drive carries at each row (n,), over the full command: command less the speed's share.

        On the two straight lines of a motor its torque goes with ``command - speed / free speed``. The
        free speed is taken from steady rows out and in, between which the load is the same.
        """
        track = self.track
        if track.command is None:
            return None
        fast = 0.3 * float(np.percentile(np.abs(track.speed), 98))
        out, into = track.speed > fast, track.speed < -max(fast / 3, 4 * track.still)
        if out.sum() < 5 or into.sum() < 5:
            return None
        speeds = float(np.median(track.speed[out]) - np.median(track.speed[into]))
        commands = float(np.median(track.command[out]) - np.median(track.command[into]))
        if commands <= 0.02:
            return None
        raw = track.command - track.speed * commands / speeds
        width = max(3, round(LOAD_S / track.period_s))
        smooth: Floats = np.convolve(raw, np.ones(width) / width, mode="same")
        return smooth

    @cached_property
    def _arrived(self) -> Flags:
        """Rows (n,) from the trip of each visit to its end."""
        rows = np.zeros(len(self.track), dtype=np.bool_)
        for each in self.visits.visits:
            rows[each.at : each.end + 1] = True
        return rows

    def inward(self, index: int) -> bool:
        """The command at a row still drives inwards: it is nearer to the approach's than to the hold's."""
        command, bad = self.track.command, self.bad
        if command is None or bad is None:
            return False
        before = self.approach_command
        if bool(switched_off(command[index : index + 1], before)[0]):
            return False
        hold = min(0.0, self.visits.hold) if before < -0.02 else self.visits.hold
        return bool(command[index] < (before + hold) / 2) and hold - before > 0.01

    @cached_property
    def approach_command(self) -> float:
        """Median command over the last rows before the trip."""
        command, bad = self.track.command, self.bad
        if command is None or bad is None:
            return 0.0
        last = bad.at if bad.seen is None else min(bad.at, bad.seen)
        return float(np.median(command[max(0, last - 4) : max(last, 1)]))
