"""What each fault does to counts, readings, loops and the world."""

from __future__ import annotations

import numpy as np
from matchworld import FAST, HOME, SLOW, STOPPING, TOP, UP, C, World


def counted(world: World, base: float) -> None:
    robot, fault = world.robot, world.fault
    vs = world.y[1]
    if fault.cause is C.COUNT_LOSS and world.visit >= 1:
        world.lost -= max(0.0, -vs) * robot.period * 0.08 * (1 if vs < -200 else 0.3)
    if fault.cause is C.STRING_STRETCH and world.visit >= 2:
        world.creep += (28.0 * (world.state != HOME) - world.creep) * robot.period / 8.0
        world.lost = -world.creep
    if fault.cause is C.OVERLAPPED_WRAPS and world.visit >= 2:
        # wound over itself above 200 mm, and laid properly again low on the next way up
        if world.state == UP and world.y[2] > 200:
            world.lost -= 0.1 * max(0.0, vs) * robot.period
        elif world.state == UP:
            world.lost *= 1 - 4 * robot.period
    shown = (world.y[0] - base - world.lost + world.slipped) / robot.per_count
    if fault.cause is C.DRIVE_SIGN and not fault.marks["motor"]:
        shown = -shown
    world.counts = float(np.floor(shown))


def late_s(world: World) -> float:
    fault = world.fault
    near = world.state in (FAST, SLOW) and world.y[2] < world.trip + 0.6 * abs(world.y[1]) * 0.05 + 3
    if fault.cause is C.LATE_LOOP and world.aimed and near and "late" not in fault.marks and not world.made:
        fault.marks["late"] = world.t
        return float(world.rng.uniform(0.22, 0.5)) * (100 / max(abs(world.y[1]), 100)) ** 0.5
    if world.rng.random() < 0.0004 and world.state in (HOME, TOP):
        return float(world.rng.uniform(0.04, 0.12))
    return 0.0


def disturbed(world: World, made: bool, x: float) -> bool:
    cause, fault, rng, trip = world.fault.cause, world.fault, world.rng, world.trip
    going_in = world.state in (FAST, SLOW, STOPPING)
    if cause is C.CONTACT_CHATTER and world.past and made and going_in and world.t < world.bounce_until:
        return bool(rng.random() < 0.45)
    if cause is C.CONTACT_CHATTER and world.past and made and going_in and world.bounce_until < 0:
        world.bounce_until = world.t + rng.uniform(0.06, 0.11)
    if cause is C.AMBIENT_LIGHT and world.past:
        if world.aimed and going_in and x < trip + 25 and "light" not in fault.marks:
            fault.marks["light"] = world.t + rng.uniform(0.8, 1.6)
        if world.state == HOME and rng.random() < 0.01:
            world.light_until = world.t + rng.uniform(0.2, 0.8)
        if world.t < max(world.light_until, fault.marks.get("light", -1.0)):
            return False
    if cause is C.AMBIENT_LIGHT and world.visit < fault.visit and world.state == HOME:
        if rng.random() < 0.004:
            world.light_until = world.t + rng.uniform(0.2, 0.6)
        if world.t < world.light_until:
            return False
    noisy = cause is C.ELECTRICAL_NOISE and world.visit >= fault.visit - 1 and world.state in (UP, FAST)
    if noisy and rng.random() < world.robot.period:
        return not made
    if cause is C.CABLE_BREAK and world.past:
        if fault.marks.setdefault("kind", float(rng.integers(0, 2))) == 0.0:
            return False
        if abs(x - 0.35 * world.robot.travel) < 10:
            return True
    if cause is C.SUPPLY_DIP and world.dip > 0:
        return False
    return made


def strike(world: World) -> None:
    """Faults that strike at one time."""
    cause, fault, rng, robot = world.fault.cause, world.fault, world.rng, world.robot
    if not world.aimed or "done" in fault.marks:
        return
    if cause is C.COUNTER_RESET and world.state == (
        FAST if fault.marks.setdefault("when", rng.random()) < 0.5 else TOP
    ):
        if world.y[2] < 0.55 * robot.travel or world.state == TOP:
            world.shown_zero = world.counts
            world.zero = world.counts - (robot.slow_zone + 250) / robot.per_count
            fault.marks["done"] = 1
    elif cause is C.DRIVE_SLIP and world.state == UP and world.y[2] > 0.4 * world.target:
        world.slipped += 4.0
        world.load = 9.0
        if world.slipped > rng.uniform(60, 120):
            fault.marks["done"] = 1
    elif cause is C.SUPPLY_DIP and world.state in (SLOW, FAST) and world.y[2] < world.trip + 8:
        world.dip = 1.0
        until = fault.marks.setdefault("until", world.t + rng.uniform(0.5, 0.9))
        if world.t > until:
            world.dip = 0.0
            fault.marks["done"] = 1
    elif cause is C.TARGET_LOST and world.state == FAST:
        world.dead = True
        fault.marks["done"] = 1
    elif cause is C.SWITCH_DAMAGE and world.state == TOP:
        world.trip -= rng.uniform(14, 18)
        fault.marks["done"] = 1
    elif cause is C.STICKY_TRAVEL and world.state == FAST:
        world.p[13], world.p[14] = world.trip + rng.uniform(20, 120), rng.uniform(50, 130)
        fault.marks["done"] = 1
