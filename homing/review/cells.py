"""The abstract lift: heights cut into zones, with the numbers of one lift that tell where it can get in a
loop.

Zones are cut where something changes: the hard stop, the sensor's window, its release, heights that the
table asks for, and the places that the lift can have reached when it reads "made" and when it has stopped.
A zone stands for every height in it, so whatever the real lift can do the abstract one can do too. The
reverse does not hold: it may do more, since it forgets where in a zone it is and how long things take.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from homing.kernel.codes import Condition
from homing.lift import MS
from homing.review.scene import Numbers, numbers_of
from homing.routine import Table
from homing.words import DriveKind
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.setting import Setting

#: Half-height of the zone "on the hard stop": pressed a little, or hanging just off it [m]. Own choice.
STOP_ROOM_M = 0.002
#: A loop may be longer than its period by this factor without being late: the bound of its jitter.
LONGEST_LOOP = 1.5
#: Length of a late loop where the lift file gives none that is longer [s]; the longest of the fault table.
LATE_LOOP_S = 0.2
#: Of the travel: no phase moves further than this much more than the whole of it. Own choice: above every
#: travel guard that lets a healthy lift pass.
GUARD_SHARE = 0.25
#: Inward speeds for which the stopping zones are cut.
MOST_SPEEDS = 3


@dataclass(frozen=True)
class Cell:
    """A zone of height; ``sees`` is what the sensor makes of it: made (1), not made (0), as before (-1)."""

    low_m: float
    high_m: float
    sees: int
    words: str


@dataclass(frozen=True)
class AbstractLift:
    """Zones from far past the hard stop to the upper stop, and the numbers of motion.

    ``blocked_in``: the hard stop stops the spool too (belt, screw, or a drive that stalls there).
    """

    cells: tuple[Cell, ...]
    numbers: Numbers
    reading_age_s: float
    late_s: float
    blocked_in: bool
    stall_sensor: bool
    fastest_m_s: float

    @cached_property
    def stop(self) -> int:
        """Index of the zone on the hard stop."""
        return next(i for i, cell in enumerate(self.cells) if cell.high_m == STOP_ROOM_M)

    @property
    def top(self) -> int:
        return len(self.cells) - 1

    @cached_property
    def trip_zone_top(self) -> int:
        """Highest zone in which a made reading belongs."""
        seen = (i for i, cell in enumerate(self.cells) if cell.sees != 0)
        # with the hard stop as sensor no zone is seen: zero belongs on the stop
        return max(seen, default=self.stop)

    def step_m(self, speed_m_s: float, late: bool) -> float:
        """Furthest that it gets between two readings, with their age."""
        loop_s = LONGEST_LOOP * self.numbers.period_s + (self.late_s if late else 0.0)
        return speed_m_s * (loop_s + self.reading_age_s)

    def reach(self, cell: int, way: int, far_m: float) -> tuple[int, ...]:
        """Zones that can be met moving at most so far from somewhere in a zone, itself included."""
        here, top = self.cells[cell], self.top
        if way < 0:
            lowest = self.stop if self.blocked_in else 0
            return tuple(i for i in range(lowest, cell + 1) if self.cells[i].high_m > here.low_m - far_m)
        return tuple(i for i in range(cell, top + 1) if self.cells[i].low_m < here.high_m + far_m)

    def carriage(self, cell: int) -> int:
        """Zone of the carriage: below the stop only the spool goes on."""
        return max(cell, self.stop)


def abstract(setting: Setting) -> AbstractLift:
    """The abstract lift of a setting."""
    lift = setting.lift
    sensor = lift.sensor()
    stall = sensor.kind is SensorKind.STALL
    numbers = numbers_of(setting)
    age_s = lift.controller.sensor_latency_ms * MS + _sample_s(setting)
    late_s = max(LATE_LOOP_S, lift.controller.late_loop_ms * MS)
    speeds = sorted(
        {numbers.speed_m_s(phase) for phase in setting.table.phases if phase.command.way < 0}, reverse=True
    )
    bare = AbstractLift(
        (),
        numbers,
        age_s,
        late_s,
        lift.drive.kind is not DriveKind.STRING or stall,
        stall,
        max(speeds, default=0.0),
    )
    cells = tuple(_cells(setting, bare, speeds[:MOST_SPEEDS], stall))
    return AbstractLift(cells, numbers, age_s, late_s, bare.blocked_in, stall, bare.fastest_m_s)


def _sample_s(setting: Setting) -> float:
    import numpy as np

    from homing.sensors import build_sensor

    return float(np.max(build_sensor(setting.lift).sample_period_s))


def _cells(setting: Setting, bare: AbstractLift, speeds: list[float], stall: bool) -> Iterator[Cell]:
    travel_m = setting.lift.lift.travel_mm / 1000
    far, near = -(1 + GUARD_SHARE) * travel_m, -GUARD_SHARE * travel_m
    at_stop = _sees(setting, 0.0, 0.0, stall)
    yield Cell(-float("inf"), far, at_stop, "far past every travel guard, the string wound on the wrong way")
    yield Cell(far, near, at_stop, "far past the stop, the string thrown off")
    yield Cell(near, -STOP_ROOM_M, at_stop, "past the stop, the string slack")
    yield Cell(-STOP_ROOM_M, STOP_ROOM_M, at_stop, "on the hard stop")
    cuts = sorted({cut for cut in _cuts(setting, bare, speeds, stall) if STOP_ROOM_M < cut < travel_m})
    for low, high in zip((STOP_ROOM_M, *cuts), (*cuts, travel_m), strict=True):
        yield Cell(low, high, _sees(setting, low, high, stall), _words(setting, low, high, stall))
    yield Cell(travel_m, travel_m, _sees(setting, travel_m, travel_m, stall), "at the upper stop")


def _cuts(setting: Setting, bare: AbstractLift, speeds: list[float], stall: bool) -> Iterator[float]:
    heights = (Condition.BELOW, Condition.ABOVE, Condition.MADE_ABOVE)
    yield from (ask.a for ask in setting.table.conditions if ask.kind in heights)
    if stall:
        return
    yield from (setting.window_low_m, setting.trip_m, setting.release_m)
    for speed in speeds:
        read_m = setting.trip_m - bare.step_m(speed, late=False)
        yield read_m
        yield read_m - bare.numbers.stopping_m(speed)


def _sees(setting: Setting, low: float, high: float, stall: bool) -> int:
    if stall or low >= setting.release_m or high <= setting.window_low_m:
        return 0
    return 1 if high <= setting.trip_m else -1


def _words(setting: Setting, low: float, high: float, stall: bool) -> str:
    span = _span(1000 * low, 1000 * high)
    if stall:
        return f"between the stops, {span}"
    sees = _sees(setting, low, high, stall)
    place = "below" if high <= setting.window_low_m else "above"
    return {1: "in the window", 0: f"{place} the sensor", -1: "where the sensor stays as it was"}[
        sees
    ] + f", {span}"


def _span(low_mm: float, high_mm: float) -> str:
    """A stretch of travel in words; a narrow one is not told as "32 to 32 mm"."""
    low, high = f"{low_mm:.0f}", f"{high_mm:.0f}"
    return f"near {low} mm" if low == high else f"{low} to {high} mm"


def table_speeds(table: Table, numbers: Numbers) -> tuple[float, ...]:
    """The different speeds of a table [m/s]."""
    return tuple(sorted({numbers.speed_m_s(phase) for phase in table.phases if phase.command.way}))
