"""What the search may move of an own table: which of its numbers, how far and in which steps.

By kind of number::

    speed, duty         anything that the drive reaches; its way stays, and what is the faster one stays it
    back-off, settling,
    readings to agree   within common practice, as for the built-in sequence
    height, distance    of rows that go on in a phase that moves: half to twice what is written
    time                the same
    guards              never searched: set by rule (``guards.py``), or left as they are

Left alone is whatever helps against faults only, so that every search would throw it away: retries, waiting
for a first look, how well two edges must agree, what counts as implausible.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from homing.kernel.codes import Condition, Effect, Order
from homing.own.routine import OwnRoutine
from homing.routine import Role
from homing.tuning.groups import Group, groups
from homing.tuning.knob import (
    AGREE,
    BACK_OFF_MM,
    NO_MOTION,
    REACHABLE_SHARE,
    SLOW_ZONE_SHARE,
    SLOWEST_CREEP_SHARE,
    SLOWEST_FAST_SHARE,
    Knob,
    settle_knob,
    speed_step,
    stall_knob,
)
from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: How far a distance or a time may be moved, as parts of what the team wrote. Own choice: they know why.
AROUND = (0.5, 2.0)
#: Smallest duty that is tried, and its step. Own choice: a brushed motor hardly turns below it.
SLOWEST_DUTY, DUTY_STEP = 0.03, 0.01
#: Steps of distances [mm] and times [s]: the first above the value counts. Own choice, to be read easily.
DISTANCE_STEPS = ((20.0, 0.5), (100.0, 1.0), (float("inf"), 5.0))
TIME_STEPS = ((0.5, 0.01), (2.0, 0.05), (float("inf"), 0.1))
STEPS_ON = (Condition.MOVED, Condition.MOVED_OUT, Condition.MOVED_IN)


def own_knobs(lift: Lift) -> tuple[Knob, ...]:
    """The numbers that the search moves.

    Raises
    ------
    InputError
        When there is none.
    """
    own = lift.own_routine
    assert own is not None
    found = groups(own)
    knobs = (*_paces(lift, found), *(knob for group in found for knob in _condition(lift, own, group)))
    if lift.sensor().kind is SensorKind.STALL:
        knobs += (stall_knob(NO_MOTION, lift.controller.period_ms),)
    knobs = tuple(knob for knob in knobs if knob.high > knob.low)
    if not knobs:
        must = (
            "must have a number that can be tuned: the speed or duty of a phase that moves, or a number that "
            "a row asks for on its way to another phase"
        )
        raise InputError(must, file=lift.source, key="[[routine.phase]]")
    return knobs


def _paces(lift: Lift, found: Sequence[Group]) -> Iterator[Knob]:
    """Speeds and duties, the faster of one way before the slower ones, which stay under it."""
    for order in (Order.SPEED, Order.DUTY):
        for sign in (-1.0, 1.0):
            same = [group for group in found if group.kind is order and sign * group.first.value > 0.0]
            same.sort(key=lambda group: -group.size)
            for place, group in enumerate(same):
                under = same[place - 1].key if place else ""
                leads = sign < 0.0 and place == 0 and len(same) > 1
                low, high, step = _duty() if order is Order.DUTY else _speed(lift, leads=leads)
                also = tuple((key, sign) for key in group.also)
                yield Knob(group.key, low, high, step, ratio=True, sign=sign, also=also, under=under)


def _speed(lift: Lift, *, leads: bool) -> tuple[float, float, float]:
    """Range and step of a speed; ``leads``: the fastest of several ways in."""
    free = lift.drive.free_speed_mm_s
    fastest = REACHABLE_SHARE * free
    step = speed_step(fastest) if leads else 1.0
    slowest = SLOWEST_FAST_SHARE if leads else SLOWEST_CREEP_SHARE
    return max(slowest * free, step), fastest, step


def _duty() -> tuple[float, float, float]:
    return SLOWEST_DUTY, 1.0, DUTY_STEP


def _condition(lift: Lift, own: OwnRoutine, group: Group) -> Iterator[Knob]:
    """The knob of a number that rows ask for, if it is one."""
    kind, period = group.kind, lift.controller.period_ms
    also = tuple((key, 1.0) for key in group.also)
    if group.first.ask is None or group.guard:
        return
    if kind in (Condition.MADE_RUN, Condition.CLEAR_RUN):
        # stopping may wait for fewer readings, never for more
        low, high = (1.0, group.size) if group.first.ends_way_in and kind is Condition.MADE_RUN else AGREE
        yield Knob(group.key, low, high, 1.0, also=also)
    elif kind is Condition.STANDSTILL:
        yield settle_knob(group.key, period, also)
    elif kind is Condition.CLEAR_BY:
        yield Knob(group.key, *BACK_OFF_MM, 0.5, also=also)
    elif kind is Condition.NOT_MOVING and any(number.ends_way_in for number in group.numbers):
        yield stall_knob(group.key, period, also)
    elif kind in (Condition.BELOW, Condition.ABOVE) and knows_height(lift, own):
        top = max(SLOW_ZONE_SHARE * lift.lift.travel_mm, group.size)
        if group.first.value > 0.0:
            yield Knob(group.key, 0.0, top, 5.0, also=also)
    elif kind in STEPS_ON and group.moves and group.size <= lift.lift.travel_mm:
        low, high = (part * group.size for part in AROUND)
        yield _around(group, low, min(high, lift.lift.travel_mm), DISTANCE_STEPS, also)
    elif kind is Condition.TIMER_OVER and group.moves:
        low, high = (part * group.size for part in AROUND)
        yield _around(group, low, high, TIME_STEPS, also)


def _around(
    group: Group,
    low: float,
    high: float,
    steps: tuple[tuple[float, float], ...],
    also: tuple[tuple[str, float], ...],
) -> Knob:
    step = next(step for below, step in steps if group.size < below)
    return Knob(group.key, max(low, step), high, step, also=also)


def knows_height(lift: Lift, own: OwnRoutine) -> bool:
    """Whether a height can be known before the routine is done: otherwise heights have no effect."""
    zeroed = {phase.name for phase in own.phases if phase.role is Role.ZEROED}
    sets = {Effect.SET_ZERO, Effect.ZERO_HERE}
    on_the_way = any(
        row.to not in zeroed and sets & {each.effect for each in row.effects} for row in own.rows
    )
    return lift.routine.referenced_at_start or on_the_way
