"""The controller, the driver and the faults of `matchlogs`: one loop a row."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
from matchlogs import GRAVITY, Fault, Floats, Match, Robot, _plant, advance, robot_of

from replay.columns import ColumnSpec, LogColumns
from replay.diagnosis import Cause
from replay.units import Role, Unit

C = Cause
LIMIT = 12.0
HOME, UP, TOP, FAST, SLOW, STOPPING, HALT = "home", "up", "top", "down", "down_slow", "stopping", "halt"


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
    overtravels: list[float] = field(default_factory=list)
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


def match_log(cause: Cause | None, seed: int) -> Match:
    """A match log with one cause, or a healthy one."""
    for attempt in range(12):
        rng = np.random.default_rng([seed, attempt, 0 if cause is None else 1 + list(Cause).index(cause)])
        match = _run(robot_of(rng), cause, rng)
        if match is not None:
            return match
    raise ValueError(f"{cause} leads to no overrun with seed {seed}")


def _run(robot: Robot, cause: Cause | None, rng: np.random.Generator) -> Match | None:
    robot = _fitted(robot, cause, rng)
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
    healthy = cause is None
    worst = max(world.overtravels, default=0.0)
    if healthy and worst > 0.8 * LIMIT:
        return None
    bad = next((k + 1 for k, over in enumerate(world.overtravels) if over > LIMIT), 0)
    if bad and world.overtravels[bad - 1] < 1.25 * LIMIT:
        return None
    if not healthy and not bad and cause not in _MAY_STAY:
        return None
    if cause is C.MISSED_EDGE and "seen" in fault.marks:
        return None
    if not healthy and bad and bad < len(world.overtravels) and bad < first - 1:
        return None
    if cause is C.PRESSING_ON_STOP and fault.marks.get("below", 0) > 0 and not bad:
        bad = first
    over = world.overtravels[bad - 1] if 0 < bad <= len(world.overtravels) else 0.0
    return Match(_text(world), _columns(world), robot, cause, bad, over, LIMIT, tuple(world.overtravels))


_MAY_STAY = (
    C.DRIVE_SIGN,
    C.SENSOR_POLARITY,
    C.MOTORS_OPPOSED,
    C.ELECTRICAL_NOISE,
    C.CABLE_BREAK,
    C.PRESSING_ON_STOP,
)


def _fitted(robot: Robot, cause: Cause | None, rng: np.random.Generator) -> Robot:
    """A robot on which this cause can be."""
    from dataclasses import replace

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


def _drive(world: World) -> None:
    robot = world.robot
    out = np.zeros(2)
    world.counts = 0.0
    base = world.y[0]
    old_u = 0.0
    world.since = 0.0
    while world.visit <= robot.visits and world.t < 90.0 and world.state != HALT:
        dt = robot.period * max(0.5, 1 + robot.jitter * world.rng.standard_normal())
        dt += _late(world)
        volts = _volts(world)
        old, u_before, coast_before = old_u, world.u, world.coast
        old_u = u_before
        turned = -1.0 if world.fault.cause is C.DRIVE_SIGN and world.fault.marks["motor"] else 1.0
        _advance(world, dt, turned * old * volts, turned * u_before * volts, coast_before, out)
        world.t += dt
        _count(world, base)
        _read(world)
        _decide(world)
        _log(world, volts, float(out[0]))


def _advance(world: World, dt: float, old_v: float, new_v: float, coast: bool, out: Floats) -> None:
    """One loop of the plant; the command of the loop before holds until the drive has taken the new one."""
    done = 0.0
    while done < dt - 1e-9:
        part = min(0.002, dt - done)
        advance(world.y, world.p, old_v if done < world.robot.delay else new_v, coast, part, out)
        done += part
        _track_truth(world)


def _volts(world: World) -> float:
    if world.t > world.load_until:
        world.load = float(world.rng.choice([0.0, 0.0, 4.0, 9.0]))
        world.load_until = world.t + world.rng.uniform(0.5, 3.0)
    volts = world.robot.volts - world.robot.ohm * (1 + world.load) - 0.02 * world.rng.standard_normal() ** 2
    if world.dip > 0:
        volts *= 0.48
    return float(volts)


def _track_truth(world: World) -> None:
    """Overtravel of the spool past the true trip until its first standstill."""
    s, vs, x = world.y[0], world.y[1], world.y[2]
    if world.fault.cause is C.STICKY_TRAVEL:
        x = min(x, s)  # a hung carriage never passes the trip; the spool does
    if world.state in (UP, TOP):
        return
    if world.trip_at is None and world.visit > 0 and x <= world.robot.trip and world.state in (FAST, SLOW):
        if not world.bad_seen:
            world.trip_at, world.lowest, world.standing = s, s, False
            world.bad_seen = True
    if world.trip_at is not None and not world.standing:
        world.lowest = min(world.lowest, s)
        if abs(vs) < 2.0 or (vs > 5.0 and s > world.lowest + 0.5):
            world.standing = True
            world.overtravels.append(world.trip_at - world.lowest)


def _count(world: World, base: float) -> None:
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


def _late(world: World) -> float:
    fault = world.fault
    near = world.state in (FAST, SLOW) and world.y[2] < world.trip + 0.6 * abs(world.y[1]) * 0.05 + 3
    if fault.cause is C.LATE_LOOP and world.aimed and near and "late" not in fault.marks and not world.made:
        fault.marks["late"] = world.t
        return float(world.rng.uniform(0.22, 0.5)) * (100 / max(abs(world.y[1]), 100)) ** 0.5
    if world.rng.random() < 0.0004 and world.state in (HOME, TOP):
        return float(world.rng.uniform(0.04, 0.12))
    return 0.0


def _read(world: World) -> None:
    x, trip, fault, rng = world.y[2], world.trip, world.fault, world.rng
    edge = trip + (1.2 if world.true_made else 0.0)
    low = trip - world.robot.window
    world.true_made = low <= x <= edge and not world.dead
    made = world.true_made
    made = _disturbed(world, made, x)
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


def _disturbed(world: World, made: bool, x: float) -> bool:
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
    if cause is C.ELECTRICAL_NOISE and world.visit >= fault.visit - 1 and world.state in (UP, FAST):
        if rng.random() < 0.02 * world.robot.period / 0.02:
            return not made
    if cause is C.CABLE_BREAK and world.past:
        if fault.marks.setdefault("kind", float(rng.integers(0, 2))) == 0.0:
            return False
        if abs(x - 0.35 * world.robot.travel) < 10:
            return True
    if cause is C.SUPPLY_DIP and world.dip > 0:
        return False
    return made


def _decide(world: World) -> None:
    robot, fault, cause = world.robot, world.fault, world.fault.cause
    age = world.t - world.since
    world.coast = False
    _events(world)
    if world.state == HOME:
        world.u = _hold(world)
        if age > fault.marks.get("rest", 1.2):
            fault.marks["rest"] = float(world.rng.uniform(0.6, 2.0))
            if cause is C.STRING_STRETCH and world.visit == robot.visits - 2:
                fault.marks["rest"] = 12.0
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


def _events(world: World) -> None:
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


def _hold(world: World) -> float:
    return float(world.robot.mass * GRAVITY / world.robot.stall_n) * 12.0 / world.robot.volts


def _speed(world: World, want: float, ramp: bool = False) -> float:
    robot = world.robot
    level = want / robot.free_mm_s + _hold(world) * 0.95
    if not robot.duty_only:
        level += 0.0006 * (want - world.y[1])
    return level


def _to(world: World, state: str) -> None:
    world.state, world.since = state, world.t
    if state in (FAST, UP) and world.fault.cause is C.STICKY_TRAVEL and state == UP:
        world.p[14] = 0.0


def _log(world: World, volts: float, current: float) -> None:
    counts = world.counts - world.shown_zero + (0 if world.robot.zeroes_log else world.robot.offset)
    extra = (
        2.2
        if world.fault.cause is C.DRIVE_SLIP and world.slipped > 0 and "done" not in world.fault.marks
        else 1.0
    )
    shown = max(0.0, current * extra + 0.04 * world.rng.standard_normal())
    battery = volts - world.robot.ohm * shown + 0.02 * world.rng.standard_normal()
    state = (
        "auto_drop"
        if world.fault.cause is C.LIMIT_NOT_CHECKED and world.aimed and world.state in (FAST, SLOW)
        else world.state
    )
    row: tuple[object, ...] = (
        f"{world.t:.4f}",
        int(counts),
        f"{world.u:.3f}",
        int(world.made),
        f"{battery:.2f}",
        f"{shown:.2f}",
        state,
    )
    if world.fault.cause is C.MOTORS_OPPOSED:
        if world.past:
            world.twist += 0.06 * abs(world.y[1]) * world.robot.period / world.robot.per_count
        strain = 4.0 if world.past and abs(world.y[1]) > 20 else 0.0
        row = (
            *row[:5],
            f"{shown + strain:.2f}",
            state,
            int(counts + world.twist),
            f"{shown + 0.9 * strain:.2f}",
        )
    world.rows.append(row)


_NAMES = ["t", "counts", "cmd", "lim", "vbat", "amps", "mode", "counts_b", "amps_b"]


def _text(world: World) -> str:
    out = io.StringIO()
    out.write(",".join(_NAMES[: len(world.rows[0])]) + "\n")
    for row in world.rows:
        out.write(",".join(str(cell) for cell in row) + "\n")
    return out.getvalue()


def _columns(world: World) -> LogColumns:
    roles = [
        Role.TIME,
        Role.COUNTS,
        Role.COMMAND,
        Role.SENSOR,
        Role.BATTERY,
        Role.CURRENT,
        Role.STATE,
        Role.COUNTS_2,
        Role.CURRENT_2,
    ]
    units: dict[Role, Unit] = {Role.TIME: Unit.SECOND, Role.COMMAND: Unit.FRACTION}
    pairs = list(zip(roles, _NAMES, strict=True))[: len(world.rows[0])]
    return LogColumns({role: ColumnSpec(name, units.get(role)) for role, name in pairs})
