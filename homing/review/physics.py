"""What the abstract lift can do from one loop to the next: its motion, and what the sensor then says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

from homing.review.cells import AbstractLift


class Broken(Enum):
    """What is broken in an exploration; "from then on" faults strike at any moment, for good."""

    NOTHING = "nothing"
    STUCK_ON = "the sensor sticks on"
    STUCK_OFF = "the sensor is lost, or sticks off"
    INVERTED = "the reading is inverted"
    LATE = "readings are a loop old, and any loop may be late"
    CHATTER = "the reading chatters"
    JAM = "the carriage jams"
    WRONG_HEIGHT = "the height from before is wrong"
    COUNTS_JUMP = "the counts jump"
    COUNTS_LOST = "counts are lost on the way"
    REVERSED = "the drive is reversed"


#: Faults that come at any moment.
STRIKING = (Broken.STUCK_ON, Broken.STUCK_OFF, Broken.JAM, Broken.COUNTS_JUMP)
#: Faults after which the reading no longer follows the sensor.
DEAF = (Broken.STUCK_ON, Broken.STUCK_OFF)
#: Faults that leave distances and heights uncertain.
MISCOUNTING = (Broken.COUNTS_JUMP, Broken.COUNTS_LOST)

#: Nothing moves. Else (way, speed index, 2 while driven or 1 while running on).
STILL = (0, 0, 0)
Motion = tuple[int, int, int]


@dataclass(frozen=True)
class Moved:
    """One way in which a loop may pass: new zone, motion and whether that may go on for ever."""

    cell: int
    motion: Motion
    lasting: bool
    taking_up: bool = False


class Physics:
    """Motion and readings of one lift with one fault."""

    def __init__(self, lift: AbstractLift, speeds: tuple[float, ...], broken: Broken) -> None:
        self.lift, self.speeds, self.broken = lift, speeds, broken
        self.moves = lru_cache(maxsize=None)(self._moves)
        self.readings = lru_cache(maxsize=None)(self._readings)

    def really(self, way: int) -> int:
        """Where a command leads: a reversed drive goes the other way."""
        return -way if self.broken is Broken.REVERSED else way

    def _moves(self, cell: int, motion: Motion, way: int, speed: int, struck: bool) -> tuple[Moved, ...]:
        """What may have become of zone and motion in a loop commanded ``way``."""
        way = self.really(way)
        if self.broken is Broken.JAM and struck:
            return (Moved(cell, STILL, True),)
        if way != 0 and self._blocked(cell, way):
            return (Moved(cell, STILL, True),)
        if motion != STILL and motion[0] != way:
            return tuple(self._runs_on(cell, motion))
        if way == 0:
            return (Moved(cell, STILL, True),)
        driven = (way, speed, 2)
        far_m = self._step_m(max(self.speeds[speed], self.speeds[motion[1]] if motion != STILL else 0.0))
        deep = cell == 0 and way < 0
        found = [
            Moved(to, STILL if self._blocked(to, way) else driven, deep)
            for to in self.lift.reach(cell, way, far_m)
        ]
        if motion == STILL:
            found.append(Moved(cell, STILL, False, taking_up=True))
        return tuple(found)

    def _runs_on(self, cell: int, motion: Motion) -> Iterator[Moved]:
        """Told otherwise, it first runs on: at most its stopping distance, for at most two loops."""
        way, speed, left = motion
        far_m = self.lift.numbers.stopping_m(self.speeds[speed]) if left == 2 else 0.0
        for to in self.lift.reach(cell, way, far_m) if far_m else (cell,):
            yield Moved(to, STILL, False)
            if left == 2 and not self._blocked(to, way):
                yield Moved(to, (way, speed, 1), False)

    def _step_m(self, speed_m_s: float) -> float:
        return self.lift.step_m(speed_m_s, self.broken is Broken.LATE)

    def _blocked(self, cell: int, way: int) -> bool:
        if way > 0:
            return cell == self.lift.top
        return self.lift.blocked_in and cell <= self.lift.stop

    def _readings(
        self, cell: int, latch: int, way: int, still: bool, struck: bool
    ) -> tuple[tuple[int, int], ...]:
        """Pairs of what the sensor really says and what the controller reads."""
        if self.lift.stall_sensor:
            end = self.lift.stop if self.really(way) < 0 else self.lift.top
            stalled = way < 0 and still and cell == end
            latches = (1,) if stalled else (0,) if way > 0 else (latch,)
        else:
            sees = self.lift.cells[self.lift.carriage(cell)].sees
            latches = (latch,) if sees < 0 else (sees,)
        return tuple((now, said) for now in latches for said in self._said(now, latch, struck))

    def _said(self, now: int, before: int, struck: bool) -> tuple[int, ...]:
        if self.broken is Broken.CHATTER:
            return (0, 1)
        if self.broken is Broken.INVERTED:
            return (1 - now,)
        if self.broken is Broken.LATE:
            return (before,)
        if struck and self.broken in (Broken.STUCK_ON, Broken.STUCK_OFF):
            return (1 if self.broken is Broken.STUCK_ON else 0,)
        return (now,)
