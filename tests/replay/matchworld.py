"""State of a match run, and the robots on which each cause can be."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from matchlogs import Fault, Floats, Robot

from replay.diagnosis import Cause

HOME, UP, TOP, FAST, SLOW, STOPPING, HALT = "home", "up", "top", "down", "down_slow", "stopping", "halt"


C = Cause


@dataclass
class World:
    """Everything that changes in a run."""

    robot: Robot
    fault: Fault
    rng: np.random.Generator
    y: Floats
    p: Floats
    t: float = 0.0
    state: str = HOME
    since: float = 0.0
    made: bool = False
    true_made: bool = False
    lost: float = 0.0
    slipped: float = 0.0
    zero: float = 0.0
    shown_zero: float = 0.0
    counts: float = 0.0
    target: float = 0.0
    visit: int = 0
    u: float = 0.0
    integral: float = 0.0
    coast: bool = False
    load: float = 0.0
    load_until: float = 0.0
    held: tuple[bool, float] | None = None
    trip_at: float | None = None
    lowest: float = 0.0
    standing: bool = False
    slow_since: float | None = None
    overtravels: list[float] = field(default_factory=list)
    trip_row: int = 0
    passed: list[int] = field(default_factory=list)
    trip: float = 0.0
    dip: float = 0.0
    rows: list[tuple[object, ...]] = field(default_factory=list)
    bounce_until: float = -1.0
    bad_seen: bool = False
    unchecked: bool = False
    dead: bool = False
    light_until: float = -1.0
    twist: float = 0.0
    peak: float = 0.0
    creep: float = 0.0

    @property
    def aimed(self) -> bool:
        return self.visit == self.fault.visit

    @property
    def past(self) -> bool:
        return self.visit >= self.fault.visit

    @property
    def declared(self) -> float:
        return (self.counts - self.zero) * self.robot.per_count


MAY_STAY = (
    C.DRIVE_SIGN,
    C.SENSOR_POLARITY,
    C.MOTORS_OPPOSED,
    C.ELECTRICAL_NOISE,
    C.CABLE_BREAK,
    C.PRESSING_ON_STOP,
)


def fitted(robot: Robot, cause: Cause | None, rng: np.random.Generator) -> Robot:
    """A robot on which this cause can be."""
    if cause in (C.CONTACT_CHATTER, C.SWITCH_DAMAGE):
        robot = replace(robot, kind="contact", window=robot.trip + 5)
    if cause is C.AMBIENT_LIGHT:
        robot = replace(robot, kind="reflective", window=0.8 * robot.trip)
    if cause is C.TARGET_LOST:
        robot = replace(robot, kind=str(rng.choice(["magnet", "reflective"])), window=0.8 * robot.trip)
    if cause in (C.TARGET_PAST_SENSOR,):
        robot = replace(robot, kind="magnet", window=rng.uniform(8, 14))
    if cause is C.MISSED_EDGE:
        robot = replace(robot, kind="magnet", window=rng.uniform(4, 6), period=max(robot.period, 0.02))
    if cause in (C.SHORT_MARGIN, C.ZERO_WHILE_MOVING, C.UNKNOWN_START, C.PRESSING_ON_STOP, C.COUNT_LOSS):
        robot = replace(robot, window=robot.trip + 5)
    if cause in (C.ZERO_WHILE_MOVING, C.COUNTER_RESET):
        robot = replace(robot, zeroes_log=True if cause is C.ZERO_WHILE_MOVING else robot.zeroes_log)
    if cause is C.REVERSE_WRAP:
        robot = replace(robot, spare=rng.uniform(15, 40), kind="contact", window=robot.trip + 5)
    if cause in (C.STRING_STRETCH, C.OVERLAPPED_WRAPS):
        robot = replace(robot, slow_zone=robot.trip + rng.uniform(12, 20), fast=max(robot.fast, 350))
    if cause in (C.STRING_STRETCH, C.OVERLAPPED_WRAPS, C.COUNT_LOSS, C.DRIVE_SLIP):
        robot = replace(robot, rezeros=False, zeroes_log=False)
    return robot
