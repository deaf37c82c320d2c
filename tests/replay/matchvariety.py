"""Other lifts, loops and logs: belts, screws, lifts that lie, 10 to 100 Hz, lost columns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from matchlogs import GRAVITY, Robot

from replay.diagnosis import Cause
from replay.units import Role

C = Cause
#: Causes that need a string which hangs loose, or a weight that pulls the carriage down.
STRING_ONLY = frozenset(
    {
        C.SLACK_PAYOUT,
        C.REVERSE_WRAP,
        C.STRING_STRETCH,
        C.OVERLAPPED_WRAPS,
        C.STICKY_TRAVEL,
        C.DRIVE_SLIP,
        C.PRESSING_ON_STOP,
    }
)
#: Columns without which a cause leaves no trace at all: "cannot tell" is then the right answer too.
NEEDED: dict[Cause, tuple[Role, ...]] = {
    C.SUPPLY_DIP: (Role.BATTERY,),
    C.DRIVE_SIGN: (Role.COMMAND,),
    C.LIMIT_NOT_CHECKED: (Role.COMMAND,),
    C.PRESSING_ON_STOP: (Role.COMMAND,),
    C.MOTORS_OPPOSED: (Role.CURRENT,),
}
PERIODS_S = (0.01, 0.0125, 0.016, 0.02, 0.025, 0.033, 0.05, 0.07, 0.1)
#: No creep goes further than this in one loop [mm]: slower loops are given slower creeps.
CREEP_MM = 2.5
#: How often a column is not logged; the practice of the trade is that state and battery are missing often.
LACKING = {Role.STATE: 0.45, Role.BATTERY: 0.2, Role.CURRENT: 0.2, Role.COMMAND: 0.1}


def varied(robot: Robot, cause: Cause | None, rng: np.random.Generator) -> Robot:
    """The robot as another kind of lift with another loop; it homes as well as before."""
    kind = str(rng.choice(["string", "string", "string", "horizontal", "belt", "screw"]))
    if cause not in STRING_ONLY:
        robot = _driven(robot, kind, rng)
    # contact bounce lasts a few loops at most of a fast controller; slow ones cannot show it
    periods = [p for p in PERIODS_S if cause is not C.CONTACT_CHATTER or p <= 0.025]
    period = float(rng.choice(periods))
    creep = min(robot.creep, CREEP_MM / period)
    return replace(
        robot,
        period=period,
        jitter=float(rng.uniform(0.02, 0.15)),
        creep=creep,
        eased=True,
        slow_zone=robot.slow_zone + 2 * robot.fast * period,
    )


def _driven(robot: Robot, kind: str, rng: np.random.Generator) -> Robot:
    if kind == "horizontal":
        return replace(robot, drive=kind, gravity=0.0, return_slack=float(rng.uniform(1, 4)))
    if kind == "belt":
        return replace(robot, drive=kind, return_slack=0.0, string_n_mm=float(rng.uniform(15, 40)))
    if kind == "screw":
        # the nut carries most of the weight by friction; what the drive feels of it is small
        return replace(
            robot,
            drive=kind,
            gravity=0.15 * GRAVITY,
            return_slack=float(rng.uniform(0.0, 0.3)),
            string_n_mm=40.0,
            rotor=float(rng.uniform(2.0, 4.0)),
            free_mm_s=float(rng.uniform(500, 800)),
            fast=min(robot.fast, 300.0),
        )
    return robot


def lacking(rng: np.random.Generator) -> tuple[Role, ...]:
    """Columns that a log goes without."""
    return tuple(role for role, share in LACKING.items() if rng.random() < share)
