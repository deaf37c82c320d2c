"""Injected faults: what each alters, and how its onset, size and place are drawn.

To add a fault: give it a code in ``kernel.codes.Fault``, let the kernel act on it (sensing, watch or
loop), and add a ``FaultKind`` below. Ranges are common practice of the trade, no source, unless said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Coupling, Fault
from homing.kernel.layout import Records
from homing.kernel.random import FAULT_STREAM, fill_uniforms
from homing.lift import MM
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting

Floats = NDArray[np.float64]

#: Runs of each fault: enough to show a share, at least 64 by the contract.
FAULT_RUNS = 64
#: Run numbers of fault runs: far above those of an ensemble.
FAULT_BASE = 2**41
#: Room between the run numbers of two faults.
FAULT_STEP = 2**20
#: Onset of a fault that is there from the start, and of one that comes on the way [s].
FROM_START_S, ON_THE_WAY_S = 0.0, 6.0
#: Half-length of the part of the travel in which a worn cable or a sticky spot acts [m].
PLACE_SPAN_M = 0.02
#: Longest time for which a fault run is watched [s]: several times a healthy run.
FAULT_RUN_S = 20.0


@dataclass(frozen=True)
class FaultKind:
    """One fault.

    ``size`` maps a share 0..1 to the size in SI; ``at_start`` faults are there from power-up; ``place``
    says where along the travel it acts: nowhere in particular, anywhere, or near the trip.
    """

    name: str
    code: Fault
    alters: str
    low: float = 0.0
    high: float = 0.0
    at_start: bool = False
    place: str = ""
    applies: Callable[[Lift], bool] = lambda lift: True


def _kind(*kinds: SensorKind) -> Callable[[Lift], bool]:
    return lambda lift: lift.sensor().kind in kinds


def _sensed(lift: Lift) -> bool:
    return lift.sensor().kind is not SensorKind.STALL


def _string(lift: Lift) -> bool:
    return int(lift.drive.kind) == Coupling.STRING


def _several_motors(lift: Lift) -> bool:
    return lift.drive.motors > 1


FAULTS: tuple[FaultKind, ...] = (
    FaultKind("sensor stuck on", Fault.STUCK_ON, "reading: always made", applies=_sensed),
    FaultKind("sensor stuck off", Fault.STUCK_OFF, "reading: never made", applies=_sensed),
    FaultKind(
        "reading inverted",
        Fault.INVERTED,
        "reading: made and not made swapped",
        at_start=True,
        applies=_sensed,
    ),
    FaultKind(
        "worn cable",
        Fault.HEIGHT_DROPOUT,
        "reading within 20 mm of a height: level of a broken wire, 30 to 100 %",
        0.3,
        1.0,
        at_start=True,
        place="anywhere",
        applies=_sensed,
    ),
    FaultKind("wire broken", Fault.WIRE_BREAK, "reading: level of a broken wire for good", applies=_sensed),
    FaultKind("target dropped off", Fault.TARGET_DROPPED, "signal: as without target", applies=_sensed),
    FaultKind(
        "magnet turned over",
        Fault.TARGET_TURNED,
        "signal: sign of the field",
        at_start=True,
        applies=_kind(SensorKind.MAGNET),
    ),
    FaultKind(
        "weak target",
        Fault.WEAK_TARGET,
        "signal: 20 to 70 % of it (gap grown, magnet weak, target dirty)",
        0.2,
        0.7,
        at_start=True,
        applies=_kind(SensorKind.MAGNET, SensorKind.REFLECTIVE),
    ),
    FaultKind(
        "sensor moved or lever bent",
        Fault.TARGET_SHIFTED,
        "trip height: 2 to 12 mm lower",
        2 * MM,
        12 * MM,
        at_start=True,
        applies=_sensed,
    ),
    FaultKind(
        "strong light",
        Fault.AMBIENT,
        "signal: 30 to 100 % of the threshold added",
        0.3,
        1.0,
        applies=_kind(SensorKind.REFLECTIVE),
    ),
    FaultKind(
        "noise on the wire", Fault.NOISE, "reading: flipped with 0.5 to 5 %", 0.005, 0.05, applies=_sensed
    ),
    FaultKind(
        "worn contact",
        Fault.WORN_CONTACT,
        "bounce: bursts up to 10 to 60 ms",
        0.01,
        0.06,
        at_start=True,
        applies=_kind(SensorKind.CONTACT),
    ),
    FaultKind("count reset", Fault.COUNT_RESET, "counts: set to zero once"),
    FaultKind("count loss", Fault.COUNT_LOSS, "counts: 5 to 40 % of the movement lost", 0.05, 0.4),
    FaultKind("encoder unplugged", Fault.COUNT_FROZEN, "counts: frozen"),
    FaultKind(
        "hub slipped",
        Fault.HUB_SLIP,
        "string: 3 to 20 mm more off the spool than counted",
        3 * MM,
        20 * MM,
    ),
    FaultKind("drive reversed", Fault.DRIVE_REVERSED, "motor force: sign", at_start=True),
    FaultKind("one motor dead", Fault.DEAD_MOTOR, "motor force: one motor less", applies=_several_motors),
    FaultKind(
        "motors opposed",
        Fault.MOTORS_OPPOSED,
        "motor force: one motor against the others",
        applies=_several_motors,
    ),
    FaultKind(
        "sticky spot",
        Fault.STICKY_SPOT,
        "friction within 20 mm of a height: 10 to 60 N more",
        10.0,
        60.0,
        at_start=True,
        place="anywhere",
    ),
    FaultKind(
        "string off its pulley",
        Fault.STRING_OFF_PULLEY,
        "string: 10 to 60 mm longer at once",
        10 * MM,
        60 * MM,
        applies=_string,
    ),
    FaultKind("string broken", Fault.STRING_BROKEN, "string: no tension", applies=_string),
    FaultKind(
        "late loop of 50 ms", Fault.LATE_LOOP, "one loop near the trip: 50 ms", 0.05, 0.05, place="near trip"
    ),
    FaultKind(
        "late loop of 100 ms", Fault.LATE_LOOP, "one loop near the trip: 100 ms", 0.1, 0.1, place="near trip"
    ),
    FaultKind(
        "late loop of 200 ms", Fault.LATE_LOOP, "one loop near the trip: 200 ms", 0.2, 0.2, place="near trip"
    ),
    FaultKind(
        "stale readings",
        Fault.STALE_READINGS,
        "reading and counts near the trip: held for 50 to 200 ms",
        0.05,
        0.2,
        place="near trip",
    ),
    FaultKind("supply dip", Fault.SUPPLY_DIP, "battery voltage: 3 to 9 V lower for 0.3 s", 3.0, 9.0),
    FaultKind("brake lost", Fault.BRAKE_LOST, "shorted windings: open instead", at_start=True),
)


def faults_for(lift: Lift) -> tuple[FaultKind, ...]:
    """The faults that this lift can have."""
    return tuple(fault for fault in FAULTS if fault.applies(lift))


def run_numbers(lift: Lift, runs: int = FAULT_RUNS) -> NDArray[np.int64]:
    """Run numbers of all fault runs of a lift, ``runs`` of each fault in the order of ``faults_for``."""
    base = FAULT_BASE + FAULT_STEP * np.arange(len(faults_for(lift)), dtype=np.int64)
    return (base[:, None] + np.arange(runs, dtype=np.int64)[None, :]).ravel()


@dataclass(frozen=True)
class FaultPlan:
    """Which fault a run number carries; plain, so that it can be sent to other processes."""

    onset_within_s: float = ON_THE_WAY_S

    def apply(self, setting: Setting, runs: Records, indices: NDArray[np.int64]) -> None:
        """Give each run record the fault that its number stands for."""
        kinds = faults_for(setting.lift)
        which = (indices - FAULT_BASE) // FAULT_STEP
        u = np.empty((len(which), 4))
        fill_uniforms(setting.seed, indices, FAULT_STREAM, 4, u)
        runs.max_time_s = FAULT_RUN_S
        for number, kind in enumerate(kinds):
            rows = np.flatnonzero(which == number)
            if len(rows):
                self.inject(setting, runs, kind, rows, u[rows])

    def inject(
        self, setting: Setting, runs: Records, kind: FaultKind, rows: NDArray[np.int64], u: Floats
    ) -> None:
        """Give these rows one fault; ``u`` (rows, 4) says when, how much and where, each 0 to 1."""
        size = kind.low + (kind.high - kind.low) * u[:, 1]
        if kind.code is Fault.AMBIENT:
            size = size * runs.operate[rows]
        runs.fault[rows] = int(kind.code)
        runs.fault_size[rows] = size
        runs.fault_onset_s[rows] = (
            FROM_START_S if kind.at_start or kind.place else u[:, 0] * self.onset_within_s
        )
        runs.fault_span_m[rows] = PLACE_SPAN_M
        runs.fault_span_s[rows] = 0.3
        if kind.place == "anywhere":
            runs.fault_height_m[rows] = u[:, 2] * runs.travel_m[rows]
        elif kind.place == "near trip":
            fast_m_s = setting.lift.routine.fast_speed_mm_s * MM
            runs.fault_height_m[rows] = runs.trip_m[rows] + u[:, 2] * fast_m_s * size
