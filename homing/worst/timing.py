"""Timing of a run as searched numbers: the loops' phase and length, the sensor's sampling, one late loop.

Each is a share of its range, 0 to 1, and each has a value at which the loops are those of the run number:

- *loop phase*: how much of the first loop is over when the run begins;
- *loop length*: every loop shorter or longer, to the end of what the jitter allows; towards the ends less of
  the run number's own jitter is left, so that no loop leaves those bounds;
- *sampling phase*: of a sensor that samples by itself, later than drawn;
- *late loop*: one loop of the length that the lift file states, with the way on which it comes; its *place*:
  the height at which it begins, about that of the trip, or the time.

A late loop by height meets the trip in every lift, by time only in one. Late loops of the run number's own
come on top, as rarely as the lift file says.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from homing.kernel.layout import Records
from homing.kernel.observe import LONG_LOOP
from homing.lift import MM, MS
from homing.sensors import build_sensor
from homing.setting import Setting

Floats = NDArray[np.float64]

LOOP_PHASE, LOOP_LENGTH, SAMPLING_PHASE = "loop phase", "loop length", "sampling phase"
LATE_LOOP, LATE_PLACE = "late loop", "late loop: place"
TIMING_NAMES = (LOOP_PHASE, LOOP_LENGTH, SAMPLING_PHASE, LATE_LOOP, LATE_PLACE)
#: Loops as the run number has them; a late loop's place is then without a meaning.
TIMING_NOMINAL = (0.0, 0.5, 0.0, 0.0, 0.5)
#: The kernel's jitter never leaves this many of its standard deviations, nor half of the period.
JITTER_REACH, JITTER_BOUND = 3.0, 0.5


class LateLoop(IntEnum):
    """When the one late loop comes."""

    NONE = 0
    FIRST_IN = 1
    SECOND_IN = 2
    THIRD_IN = 3
    FIRST_OUT = 4
    SECOND_OUT = 5
    AT_A_TIME = 6

    @property
    def words(self) -> str:
        return ("none", "first way in", "second way in", "third way in", "first way out", "second way out",
                "at a time")[self]  # fmt: skip

    @property
    def way(self) -> int:
        """Which way the routine commands then: -1 in, +1 out, 0 any."""
        return (0, -1, -1, -1, 1, 1, 0)[self]

    @property
    def turn(self) -> int:
        """For which time it commands this way."""
        return (0, 1, 2, 3, 1, 2, 0)[self]


@dataclass(frozen=True)
class Timing:
    """Timing of one run, in shares."""

    loop_phase: float = TIMING_NOMINAL[0]
    loop_length: float = TIMING_NOMINAL[1]
    sampling_phase: float = TIMING_NOMINAL[2]
    late_loop: LateLoop = LateLoop.NONE
    late_place: float = TIMING_NOMINAL[4]

    def shares(self) -> Floats:
        """As columns for ``plan``, (1, 5)."""
        late = self.late_loop / len(LateLoop) + 0.5 / len(LateLoop) if self.late_loop else 0.0
        return np.array([[self.loop_phase, self.loop_length, self.sampling_phase, late, self.late_place]])

    @classmethod
    def of(cls, shares: Floats) -> Timing:
        """From one row of columns, (5,)."""
        late = LateLoop(int(late_loops(shares[None, 3])[0]))
        phase, length, sampling, _, place = shares.tolist()
        return cls(phase, length, sampling, late, place)


def searched_timing(setting: Setting) -> tuple[str, ...]:
    """What of the timing can differ from run to run of this lift."""
    names = [LOOP_PHASE]
    if setting.lift.controller.jitter_ms > 0.0 and not len(setting.periods_s):
        names.append(LOOP_LENGTH)
    if np.max(build_sensor(setting.lift).sample_period_s) > 0.0:
        names.append(SAMPLING_PHASE)
    if may_be_late(setting):
        names += [LATE_LOOP, LATE_PLACE]
    return tuple(names)


def may_be_late(setting: Setting) -> bool:
    """True when the lift file, or the log that loops are drawn from, knows late loops."""
    if len(setting.periods_s):
        return bool(setting.periods_s.max() > LONG_LOOP * setting.lift.controller.period_ms * MS)
    return setting.lift.controller.late_loop_probability > 0.0


def late_loops(share: Floats) -> NDArray[np.int64]:
    """Kind of late loop that each share stands for, (n,)."""
    return np.minimum((share * len(LateLoop)).astype(np.int64), len(LateLoop) - 1)


def late_length_s(setting: Setting, stated_s: Floats) -> Floats:
    """Length of the late loop: that of the lift file, or the longest one of the log."""
    return np.full_like(stated_s, setting.periods_s.max()) if len(setting.periods_s) else stated_s


def begin_above_m(setting: Setting, place: Floats, late_s: Floats) -> Floats:
    """How far above the trip height a late loop begins.

    In the middle of the range it is the loop that passes the trip height at fast speed; to the ends, as far
    from there as is travelled in the late loop.
    """
    fast_m_s, period_s = setting.lift.routine.fast_speed_mm_s * MM, setting.lift.controller.period_ms * MS
    return np.asarray(fast_m_s * (period_s + (2.0 * place - 1.0) * late_s), dtype=np.float64)


def latest_s(setting: Setting) -> float:
    """Until when a late loop at a time may begin: a run that lasts longer fails anyway."""
    return float(setting.lift.requirements.time_to_zero_s)


def plan(setting: Setting, runs: Records, shares: Floats) -> None:
    """Give runs the timing that their shares (n, 5) stand for."""
    phase, length, sampling, late, place = shares.T
    runs.first_loop_s = np.where(phase > 0.0, (1.0 - phase) * runs.period_s, 0.0)
    off = 2.0 * length - 1.0
    reach_s = np.minimum(JITTER_REACH * runs.jitter_s, JITTER_BOUND * runs.period_s)
    runs.loop_shift_s = off * reach_s
    runs.jitter_s = (1.0 - np.abs(off)) * runs.jitter_s
    runs.sample_shift = sampling
    kinds = late_loops(late)
    late_s = late_length_s(setting, runs.late_s)
    runs.planned_late_s = np.where(kinds > 0, late_s, 0.0)
    runs.planned_way = np.array([kind.way for kind in LateLoop])[kinds]
    runs.planned_turn = np.array([kind.turn for kind in LateLoop])[kinds]
    height_m = runs.trip_m + begin_above_m(setting, place, late_s)
    runs.planned_place = np.where(runs.planned_way == 0, place * latest_s(setting), height_m)
