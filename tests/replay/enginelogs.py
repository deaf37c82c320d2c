"""Logs of a lift built from parts of a general physics engine (MuJoCo), with one fault each.

Two bodies on slide joints with the engine's own dry friction, its joint limit as the hard stop, its gravity,
and a tendon with a dead band as the string: nothing of the program's own plant takes part. The robot and
its controller are invented: up, wait, in at speed, slow by the count, stop on the reading, hold.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from enum import Enum, auto

import mujoco
import numpy as np

#: Step of the engine and period of the controller [s].
STEP_S, LOOP_S = 0.0005, 0.02
#: Length of the late loop [s]; slip of the hub in a loop and in all [mm].
LATE_S, SLIP_MM, MOST_SLIP_MM = 0.5, 6.0, 140.0
#: Height at which the sensor becomes made, length of its window, and length of a short one [mm].
TRIP_MM, WINDOW_MM, SHORT_WINDOW_MM = 30.0, 40.0, 7.0
#: Stall force [N] and free speed [m/s] of the drive at the string, and weight over stall force.
STALL_N, FREE_M_S, HOLD = 70.0, 1.0, 0.168
#: Share of the stall force that the friction takes; the controller gives it on top.
FRICTION = 0.05
#: Speeds in, slow and out [mm/s]; below this height the count says slow [mm].
FAST, SLOW, OUT, SLOW_ZONE_MM = 550.0, 60.0, 450.0, 150.0
MM_PER_COUNT = 0.25
#: Heights to which the lift is sent [mm]; the fault acts in the visit with this number, counted from 1.
TARGETS, FAULTY = (300.0, 380.0, 260.0, 340.0, 400.0), 4

MODEL = f"""
<mujoco>
  <option gravity="0 0 -9.81" timestep="{STEP_S}"><flag contact="disable"/></option>
  <default><joint type="slide" axis="0 0 1"/></default>
  <worldbody>
    <body name="carriage">
      <inertial pos="0 0 0" mass="1.2" diaginertia="1 1 1"/>
      <joint name="carriage" frictionloss="2.5" damping="2" limited="true" range="0 0.7"
             solreflimit="0.004 0.6"/>
    </body>
    <body name="spool" gravcomp="1">
      <inertial pos="0 0 0" mass="3.0" diaginertia="1 1 1"/>
      <joint name="spool" frictionloss="1.5"/>
    </body>
  </worldbody>
  <tendon>
    <fixed name="string" stiffness="10000" damping="5" springlength="0 10">
      <joint joint="spool" coef="1"/><joint joint="carriage" coef="-1"/>
    </fixed>
  </tendon>
</mujoco>
"""


class Trouble(Enum):
    """What goes wrong."""

    NOTHING = auto()
    LATE_LOOP = auto()
    TARGET_LOST = auto()
    MISSED_EDGE = auto()
    DRIVE_SLIP = auto()


@dataclass
class EngineMatch:
    """One match: the engine's lift, the controller's state, and the rows so far."""

    trouble: Trouble
    model: mujoco.MjModel = field(default_factory=lambda: mujoco.MjModel.from_xml_string(MODEL))
    phase: str = "wait"
    since_s: float = 0.0
    visit: int = 0
    command: float = HOLD
    slipped_mm: float = 0.0
    late: bool = False
    rows: list[tuple[str, ...]] = field(default_factory=list)
    trips: list[float] = field(default_factory=list)
    deepest: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.data = mujoco.MjData(self.model)
        # resting a little above its stop, string just taut; the tendon wants a positive length
        self.data.qpos[:] = 0.02, 10.021

    @property
    def faulty(self) -> bool:
        return self.visit == FAULTY

    @property
    def spool_mm(self) -> float:
        return 1e3 * (float(self.data.qpos[1]) - 10.0)

    @property
    def made(self) -> bool:
        window = SHORT_WINDOW_MM if self.trouble is Trouble.MISSED_EDGE else WINDOW_MM
        gone = self.trouble is Trouble.TARGET_LOST and self.visit >= FAULTY
        return not gone and TRIP_MM - window <= 1e3 * float(self.data.qpos[0]) <= TRIP_MM

    @property
    def count(self) -> int:
        return int(np.floor((self.spool_mm + self.slipped_mm) / MM_PER_COUNT))

    def run(self) -> str:
        """Play the whole match; returns the log as CSV text."""
        while self.visit <= len(TARGETS) and self.data.time < 60.0:
            self._decide()
            made, volts = self.made, 12.6 - 0.1 * abs(self.command)
            row = (self.data.time, self.count, self.command, int(made), volts, self._current(), self.phase)
            self.rows.append(tuple(f"{cell:.4f}" if isinstance(cell, float) else str(cell) for cell in row))
            self._advance(self._loop_s())
        out = io.StringIO()
        out.write("time_s,counts,command,sensor,battery_v,current_a,state\n")
        out.writelines(",".join(row) + "\n" for row in self.rows)
        return out.getvalue()

    def _current(self) -> float:
        return 8.0 * abs(self.command - 1e-3 * self._speed() / FREE_M_S) + 0.1

    def _speed(self) -> float:
        return 1e3 * float(self.data.qvel[1])

    def _loop_s(self) -> float:
        near = self.phase == "in" and 1e3 * self.data.qpos[0] < TRIP_MM + 2.0
        if self.trouble is Trouble.LATE_LOOP and self.faulty and near and not self.late:
            self.late = True
            return LATE_S
        return LOOP_S

    def _advance(self, time_s: float) -> None:
        for _ in range(round(time_s / STEP_S)):
            self.data.qfrc_applied[1] = STALL_N * (self.command - 1e-3 * self._speed() / FREE_M_S)
            mujoco.mj_step(self.model, self.data)
            self._note()

    def _note(self) -> None:
        """Height of the spool as the carriage passes the trip, and the lowest after it."""
        if self.phase not in ("in", "stop"):
            return
        if len(self.trips) < self.visit and 1e3 * self.data.qpos[0] <= TRIP_MM:
            self.trips.append(self.spool_mm)
            self.deepest.append(self.spool_mm)
        elif len(self.trips) == self.visit:
            self.deepest[-1] = min(self.deepest[-1], self.spool_mm)

    def overtravel(self, visit: int) -> float:
        """Way [mm] of the spool past the trip in a visit, counted from 1."""
        return self.trips[visit - 1] - self.deepest[visit - 1]

    def _go(self, phase: str) -> None:
        self.phase, self.since_s = phase, float(self.data.time)

    def _decide(self) -> None:
        if self.trouble is Trouble.DRIVE_SLIP and self.faulty and self.phase == "out":
            # the hub turns a little on its shaft under each load: the count runs ahead of the carriage
            self.slipped_mm = min(self.slipped_mm + SLIP_MM, MOST_SLIP_MM)
        age, declared = self.data.time - self.since_s, self.count * MM_PER_COUNT
        if self.phase in ("wait", "top") and age > 0.8:
            if self.phase == "wait":
                self.visit += 1
            self._go("out" if self.phase == "wait" else "in")
        elif self.phase == "out" and declared >= TARGETS[min(self.visit, len(TARGETS)) - 1]:
            self._go("top")
        elif self.phase == "in" and (self.made or self.spool_mm < -60.0):
            self._go("stop")
        elif self.phase == "stop" and age > 0.4:
            self._go("wait")
        self.command = self._wanted(declared)

    def _wanted(self, declared: float) -> float:
        hurry = self.trouble is Trouble.MISSED_EDGE and self.faulty
        if self.phase == "in":
            speed = -(2 * FAST if hurry else FAST if declared > SLOW_ZONE_MM else SLOW)
        elif self.phase == "out":
            speed = OUT
        else:
            return HOLD
        level = HOLD + 1e-3 * speed / FREE_M_S + np.copysign(FRICTION, speed)
        return float(np.clip(level + 0.0005 * (speed - self._speed()), -1, 1))
