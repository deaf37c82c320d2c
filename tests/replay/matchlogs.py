"""Match logs of invented robots with one injected cause each, for judging the diagnosis.

A compact simulator on purpose unlike the program's own: friction is smooth (it creeps instead of holding),
the stop is a stiff spring with a dashpot, the controller is a handful of states. A driver sends the lift up
and home several times; the `Fault` of a cause changes one thing from its onset on. Nothing is measured:
every number is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numba
import numpy as np
from numpy.typing import NDArray

from replay.columns import LogColumns
from replay.diagnosis import Cause
from replay.log import Log
from replay.reading import read_log
from replay.units import Role

Floats = NDArray[np.float64]
STEP_S = 0.0005
GRAVITY = 9.81
#: Way [mm] at which a drive without return string, belt or screw pulls inwards: never.
NO_RETURN = 1e9


@dataclass(frozen=True)
class Robot:
    """An invented lift, its sensor and its program."""

    travel: float
    mass: float
    rotor: float
    friction: float
    spool_friction: float
    stall_n: float
    free_mm_s: float
    string_n_mm: float
    stop_n_mm: float
    stop_damping: float
    trip: float
    window: float
    kind: str
    spare: float
    per_count: float
    period: float
    jitter: float
    delay: float
    fast: float
    creep: float
    slow_zone: float
    up_speed: float
    volts: float
    ohm: float
    zeroes_log: bool
    duty_only: bool
    referenced: bool
    offset: int
    visits: int
    rezeros: bool = True
    drive: str = "string"
    gravity: float = GRAVITY
    return_slack: float = NO_RETURN
    eased: bool = False


@dataclass
class Fault:
    """What goes wrong; ``visit`` is the arrival it aims at, counted from 1."""

    cause: Cause | None
    visit: int
    rng: np.random.Generator
    marks: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Match:
    """A log with its truth: overtravel of the bad visit past the true trip [mm].

    ``per_visit`` is the overtravel of every arrival [mm], ``passed`` the first row below its true trip.
    """

    text: str
    columns: LogColumns
    robot: Robot
    cause: Cause | None
    bad_visit: int
    overtravel: float
    limit: float
    per_visit: tuple[float, ...]
    without: tuple[Role, ...] = ()
    dead: bool = False
    passed: tuple[int, ...] = ()

    def log(self, folder: Path, without: tuple[Role, ...] = (), scaled: bool = True) -> Log:
        """Write and read the log, leaving roles out."""
        path = folder / "match.csv"
        path.write_bytes(self.text.encode())
        specs = {role: spec for role, spec in self.columns.specs.items() if role not in without}
        log = read_log(path, replace(self.columns, specs=specs))
        return log.scaled(self.robot.per_count) if scaled else log


def robot_of(rng: np.random.Generator) -> Robot:
    """Draw a robot that homes well."""
    mass = rng.uniform(0.8, 2.0)
    creep = rng.uniform(50, 110)
    fast = rng.uniform(250, 480)
    period = float(rng.choice([0.008, 0.010, 0.012, 0.016, 0.020, 0.025, 0.033]))
    trip = rng.uniform(16, 45)
    kind = str(rng.choice(["magnet", "reflective", "contact"]))
    return Robot(
        travel=rng.uniform(450, 900),
        mass=mass,
        rotor=rng.uniform(0.8, 2.5),
        friction=rng.uniform(2, 5),
        spool_friction=rng.uniform(1, 3),
        stall_n=mass * GRAVITY * rng.uniform(4, 9),
        free_mm_s=rng.uniform(800, 1300),
        string_n_mm=rng.uniform(6, 14),
        stop_n_mm=rng.uniform(40, 130),
        stop_damping=rng.uniform(40, 150),
        trip=trip,
        window=trip + 5 if kind == "contact" else rng.uniform(0.55, 0.9) * trip,
        kind=kind,
        spare=rng.uniform(60, 150),
        per_count=rng.uniform(0.1, 0.6),
        period=period,
        jitter=rng.uniform(0.04, 0.12),
        delay=rng.uniform(0.002, 0.006),
        fast=fast,
        creep=creep,
        slow_zone=trip + fast * 0.12 + 30,
        up_speed=rng.uniform(350, 600),
        volts=rng.uniform(12.2, 13.2),
        ohm=rng.uniform(0.08, 0.14),
        zeroes_log=bool(rng.random() < 0.4),
        duty_only=bool(rng.random() < 0.4),
        referenced=bool(rng.random() < 0.7),
        offset=int(rng.integers(-1500, 1500)) if rng.random() < 0.4 else 0,
        visits=int(rng.integers(5, 9)),
    )


@numba.njit(cache=True)  # type: ignore[misc]
def advance(y: Floats, p: Floats, volts: float, coast: bool, time_s: float, out: Floats) -> None:
    """Advance spool and carriage [s, vs, x, vx in mm, mm/s]; ``out`` gets current and string force."""
    steps = max(1, round(time_s / STEP_S))
    h = time_s / steps
    for _ in range(steps):
        s, vs, x, vx = y[0], y[1], y[2], y[3]
        back = s < -p[9]
        taut = (-2 * p[9] - s if back else s) * p[12] - x
        rate = (-vs if back else vs) - vx
        pull = max(0.0, p[4] * taut + 0.02 * rate) if taut > 0 else 0.0
        if taut < -p[16]:
            pull = min(0.0, p[4] * (taut + p[16]) + 0.02 * rate)
        stop = -p[5] * x - 0.001 * p[6] * vx if x < 0 else 0.0
        stop = max(stop, 0.0)
        if x > p[8]:
            stop = -p[5] * (x - p[8]) - 0.001 * p[6] * max(vx, 0.0)
        motor = 0.0 if coast else p[2] * (volts / 12.0 - vs / p[3])
        out[0] = abs(motor / p[2]) * p[11] + 0.05
        fx = pull - p[0] * p[15] - p[7] * np.tanh(vx / 8.0) + stop
        fs = motor - (-pull if back else pull) - p[10] * np.tanh(vs / 8.0)
        y[1] = vs + h * 1000.0 * fs / p[1]
        y[3] = vx + h * 1000.0 * fx / p[0]
        if p[14] > 0 and x <= p[13]:
            # hung: it stays until enough string lies loose, then breaks free
            if x - s < p[14]:
                y[3] = max(0.0, y[3])
            else:
                p[14] = 0.0
        y[0] = s + h * y[1]
        y[2] = x + h * y[3]
    out[1] = pull


def _plant(robot: Robot) -> Floats:
    return np.array(
        [
            robot.mass,
            robot.rotor,
            robot.stall_n,
            robot.free_mm_s,
            robot.string_n_mm,
            robot.stop_n_mm,
            robot.stop_damping,
            robot.friction,
            robot.travel,
            robot.spare,
            robot.spool_friction,
            8.0,  # stall current [A]
            1.0,  # mm of string for a mm of spool
            -1e9,  # height at which the carriage hangs
            0.0,  # mm of loose string at which it breaks free; 0: it does not hang
            robot.gravity,
            robot.return_slack,
        ]
    )
