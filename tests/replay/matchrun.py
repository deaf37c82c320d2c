"""The controller, the driver and the faults of `matchlogs`: one loop a row."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from matchdialect import Dialect, dialect_of, written
from matchfaults import counted, disturbed, late_s, strike
from matchlogs import Fault, Floats, Match, Robot, _plant, advance, robot_of
from matchrecord import log, track_truth, visited, volts
from matchvariety import lacking, varied
from matchworld import FAST, HALT, HOME, MAY_STAY, SLOW, STOPPING, TOP, UP, C, World, fitted

from replay.diagnosis import Cause

LIMIT = 12.0
#: Share of the friction that the program gives on top.
EASED = 0.9


def match_log(cause: Cause | None, seed: int, various: bool = False) -> Match:
    """A match log with one cause, or healthy; ``various``: from other lifts, loops and dialects."""
    for attempt in range(12):
        rng = np.random.default_rng([seed, attempt, 0 if cause is None else 1 + list(Cause).index(cause)])
        robot = varied(robot_of(rng), cause, rng) if various else robot_of(rng)
        how = dialect_of(rng, lacking(rng)) if various else Dialect()
        match = _run(robot, cause, rng, how)
        if match is not None:
            return match
    raise ValueError(f"{cause} leads to no overrun with seed {seed}")


def _run(robot: Robot, cause: Cause | None, rng: np.random.Generator, how: Dialect) -> Match | None:
    robot = fitted(robot, cause, rng)
    first = (
        1
        if cause in (C.UNKNOWN_START, C.DRIVE_SIGN, C.SENSOR_POLARITY, C.REVERSE_WRAP)
        else int(rng.integers(3, robot.visits))
    )
    fault = Fault(cause, first, rng, {"motor": float(rng.random() < 0.5)})
    start = 0.25 * robot.trip if rng.random() < 0.5 and first > 1 else rng.uniform(0.3, 0.6) * robot.travel
    if cause is C.REVERSE_WRAP:
        start = 0.4 * robot.trip
    spool = -2 * robot.spare - start if cause is C.REVERSE_WRAP else start + 0.1
    world = World(robot, fault, rng, np.array([spool, 0.0, start, 0.0]), _plant(robot))
    world.trip = robot.trip
    world.zero = (
        -start / robot.per_count if robot.referenced else -(start + robot.slow_zone) / robot.per_count
    )
    if cause is C.UNKNOWN_START:
        world.zero = -(start + robot.slow_zone + rng.uniform(60, 150)) / robot.per_count
    _drive(world)
    bad = _bad_visit(world, first)
    if bad is None:
        return None
    over = world.overtravels[bad - 1] if 0 < bad <= len(world.overtravels) else 0.0
    # a count that the program sets to zero is its own variable and not the counter's word
    how = replace(how, bits=0, offset=0) if robot.zeroes_log or cause is C.COUNTER_RESET else how
    text, columns = written(world.rows, how, rng)
    dead = fault.marks.get("kind") == 0.0
    return Match(
        text,
        columns,
        robot,
        cause,
        bad,
        over,
        LIMIT,
        tuple(world.overtravels),
        how.without,
        dead,
        tuple(world.passed),
    )


def _bad_visit(world: World, first: int) -> int | None:
    """Number of the visit that went wrong, 0 for none; None where the run shows nothing of its cause."""
    fault, cause = world.fault, world.fault.cause
    healthy = cause is None
    worst = max(world.overtravels, default=0.0)
    if healthy and (worst > 0.8 * LIMIT or len(world.overtravels) < 3):
        return None
    bad = next((k + 1 for k, over in enumerate(world.overtravels) if over > LIMIT), 0)
    if bad and world.overtravels[bad - 1] < 1.25 * LIMIT:
        return None
    if not healthy and not bad and cause not in MAY_STAY:
        return None
    if cause is C.MISSED_EDGE and "seen" in fault.marks:
        return None
    if cause is C.TARGET_PAST_SENSOR and "seen" not in fault.marks:
        return None
    if not healthy and bad and bad < len(world.overtravels) and bad < first - 1:
        return None
    if cause is C.PRESSING_ON_STOP and fault.marks.get("below", 0) > 0 and not bad:
        bad = first
    return bad


def _drive(world: World) -> None:
    robot = world.robot
    out = np.zeros(2)
    world.counts = 0.0
    base = world.y[0]
    old_u = 0.0
    world.since = 0.0
    while world.visit <= robot.visits and world.t < 90.0 and world.state != HALT:
        dt = robot.period * max(0.5, 1 + robot.jitter * world.rng.standard_normal())
        dt += late_s(world)
        supply = volts(world)
        old, u_before, coast_before = old_u, world.u, world.coast
        old_u = u_before
        turned = -1.0 if world.fault.cause is C.DRIVE_SIGN and world.fault.marks["motor"] else 1.0
        _advance(world, dt, turned * old * supply, turned * u_before * supply, coast_before, out)
        world.t += dt
        counted(world, base)
        _read(world)
        _decide(world)
        log(world, supply, float(out[0]))


def _advance(world: World, dt: float, old_v: float, new_v: float, coast: bool, out: Floats) -> None:
    """One loop of the plant; the command of the loop before holds until the drive has taken the new one."""
    done = 0.0
    while done < dt - 1e-9:
        part = min(0.002, dt - done)
        advance(world.y, world.p, old_v if done < world.robot.delay else new_v, coast, part, out)
        done += part
        track_truth(world, world.t + done)


def _read(world: World) -> None:
    x, trip, fault, rng = world.y[2], world.trip, world.fault, world.rng
    edge = trip + (1.2 if world.true_made else 0.0)
    low = trip - world.robot.window
    world.true_made = low <= x <= edge and not world.dead
    made = world.true_made
    made = disturbed(world, made, x)
    if fault.cause is C.SENSOR_POLARITY:
        made = not made
    world.made = made
    if fault.cause is C.STALE_READING and world.aimed and world.state in (FAST, SLOW):
        if "stale" not in fault.marks and x < trip + 12:
            fault.marks["stale"] = world.t + float(rng.uniform(0.25, 0.5))
            world.held = (world.made, world.counts)
        if world.held is not None and world.t < fault.marks["stale"]:
            world.made, world.counts = world.held
        else:
            world.held = None


def _decide(world: World) -> None:
    robot, fault, cause = world.robot, world.fault, world.fault.cause
    age = world.t - world.since
    world.coast = False
    strike(world)
    if world.state == HOME:
        world.u = _hold(world)
        if age > fault.marks.get("rest", 1.2):
            fault.marks["rest"] = float(world.rng.uniform(0.6, 2.0))
            if cause is C.STRING_STRETCH and world.visit == robot.visits - 2:
                fault.marks["rest"] = 12.0
            visited(world)
            world.visit += 1
            world.target = float(world.rng.uniform(0.35, 0.85)) * robot.travel
            world.bad_seen, world.trip_at, world.bounce_until = False, None, -1.0
            _to(world, UP if world.y[2] < 0.3 * robot.travel or world.visit > 1 else FAST)
    elif world.state == UP:
        world.u = _speed(world, min(robot.up_speed, 60 + 4 * max(0.0, world.target - world.declared)))
        if world.declared >= world.target - 2 or age > 4.0 or world.y[2] > robot.travel - 5:
            _to(world, TOP)
    elif world.state == TOP:
        world.u = _hold(world)
        if age > 0.8 + fault.marks.get("rest", 1.0) / 2:
            _to(world, FAST)
    elif world.state in (FAST, SLOW):
        _come_in(world)
    elif world.state == STOPPING:
        _stop(world, age)
    if cause is C.REVERSE_WRAP and world.t < 1.6:
        world.u = 0.0 if world.t < 0.5 else -0.35
    world.u = float(np.clip(world.u, -1, 1))


def _come_in(world: World) -> None:
    robot, fault, cause = world.robot, world.fault, world.fault.cause
    fast = world.aimed and cause in (C.SHORT_MARGIN, C.TARGET_PAST_SENSOR, C.MISSED_EDGE, C.ZERO_WHILE_MOVING)
    want = robot.fast * (2.0 if fast else 1.0) if world.state == FAST else robot.creep
    world.u = _speed(world, -min(want, 0.9 * robot.free_mm_s), ramp=True)
    if world.state == FAST and not fast and world.declared < robot.slow_zone:
        _to(world, SLOW)
    unchecked = cause is C.LIMIT_NOT_CHECKED and world.aimed
    if world.made and world.aimed and world.state == FAST:
        fault.marks["seen"] = 1.0
    if world.made and not unchecked:
        world.integral = world.y[0]
        _to(world, STOPPING)
        world.u = 0.0 if cause is C.SLACK_PAYOUT and world.past else _hold(world)
        if cause is C.ZERO_WHILE_MOVING and world.aimed:
            _zero(world)
    elif world.y[0] < -70 or (unchecked and world.y[0] < world.trip - 60) or world.t - world.since > 7:
        _to(world, STOPPING)
        world.integral = world.y[0]


def _stop(world: World, age: float) -> None:
    fault, cause = world.fault, world.fault.cause
    world.u = _hold(world)
    if cause is C.SLACK_PAYOUT and world.past and age < 0.5:
        world.coast, world.u = True, 0.0
    if cause is C.PRESSING_ON_STOP and world.aimed:
        # the position loop wants to a target below the stop, and its integral winds up
        below = world.trip - fault.marks.setdefault("below", float(world.rng.uniform(35, 70)))
        if age > 0.15:
            world.u = _hold(world) + float(np.clip(0.0025 * (below - world.y[0]) * (1 + age), -0.5, 0.3))
    retrigger = cause in (C.CONTACT_CHATTER, C.TARGET_PAST_SENSOR) and world.past
    if retrigger and not world.made and age < 0.4 and world.y[0] > -60:
        _to(world, FAST if cause is C.TARGET_PAST_SENSOR else SLOW)
        world.u = _speed(world, -world.robot.fast)
    elif age > 0.3 and abs(world.y[1]) < 8 and not (cause is C.PRESSING_ON_STOP and world.aimed and age < 2):
        if (world.made and cause is not C.ZERO_WHILE_MOVING) or (world.made and not world.aimed):
            _zero(world)
        _to(world, HOME)


def _zero(world: World) -> None:
    if not world.robot.rezeros and world.visit > 1:
        return
    if world.robot.zeroes_log:
        world.shown_zero = world.counts
    world.zero = world.counts - (world.trip - 3) / world.robot.per_count


def _hold(world: World) -> float:
    return float(world.robot.mass * world.robot.gravity / world.robot.stall_n) * 12.0 / world.robot.volts


def _speed(world: World, want: float, ramp: bool = False) -> float:
    robot = world.robot
    level = want / robot.free_mm_s + _hold(world) * 0.95
    if robot.eased:
        # slow creeps need the friction given to them, as a speed loop's integral would
        level += float(np.sign(want)) * EASED * (robot.friction + robot.spool_friction) / robot.stall_n
    if not robot.duty_only:
        level += 0.0006 * (want - world.y[1])
    return level


def _to(world: World, state: str) -> None:
    world.state, world.since = state, world.t
    if state in (FAST, UP) and world.fault.cause is C.STICKY_TRAVEL and state == UP:
        world.p[14] = 0.0
