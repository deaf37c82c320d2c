"""What a match run notes down: the true overtravel, the supply, the row of the log."""

from __future__ import annotations

from matchworld import FAST, SLOW, TOP, UP, C, World

#: It stands when it is slower than this [mm/s] for this long [s], as the contract defines standstill.
STAND_MM_S, SETTLE_S = 2.0, 0.12
#: It is driven out again when it is faster than this [mm/s] this far [mm] above its lowest: no rebound.
TURNED_MM_S, TURNED_MM = 5.0, 12.0


def volts(world: World) -> float:
    if world.t > world.load_until:
        world.load = float(world.rng.choice([0.0, 0.0, 4.0, 9.0]))
        world.load_until = world.t + world.rng.uniform(0.5, 3.0)
    volts = world.robot.volts - world.robot.ohm * (1 + world.load) - 0.02 * world.rng.standard_normal() ** 2
    if world.dip > 0:
        volts *= 0.48
    return float(volts)


def track_truth(world: World, now: float) -> None:
    """Overtravel of the spool past the true trip until its first standstill; ``now`` is the time [s]."""
    s, vs, x = world.y[0], world.y[1], world.y[2]
    if world.fault.cause is C.STICKY_TRAVEL:
        x = min(x, s)  # a hung carriage never passes the trip; the spool does
    if world.state in (UP, TOP):
        return
    first = world.trip_at is None and world.visit > 0 and not world.bad_seen
    if first and x <= world.robot.trip and world.state in (FAST, SLOW):
        world.trip_at, world.lowest, world.standing, world.slow_since = s, s, False, None
        world.bad_seen, world.trip_row = True, len(world.rows)
    if world.trip_at is not None and not world.standing:
        world.lowest = min(world.lowest, s)
        world.slow_since = None if abs(vs) >= STAND_MM_S else (world.slow_since or now)
        settled = world.slow_since is not None and now - world.slow_since >= SETTLE_S
        if settled or (vs > TURNED_MM_S and s > world.lowest + TURNED_MM):
            visited(world)


def visited(world: World) -> None:
    """Note the overtravel of an arrival that has come to its standstill, or is left without one."""
    if world.trip_at is not None and not world.standing:
        world.standing = True
        world.overtravels.append(world.trip_at - world.lowest)
        world.passed.append(world.trip_row)


def log(world: World, volts: float, current: float) -> None:
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
