"""The built-in retract-and-zero sequence, written out for one lift's settings.

In words: look at the sensor while standing; if it is made, leave it; if it is not and nothing is
referenced, first move out (a lift that rests on its stop may have its target already past the
sensor, and would wind its string away unseen); come in fast, slowly once near if referenced; stop
on the first made reading; back off until it has let go and a margin more; approach slowly; stop,
stand, let readings agree; do it once more if asked; declare zero from the captured edge.

Phases and conditions are declared here, the rows in ``builtin_rows``.
"""

from __future__ import annotations

from dataclasses import dataclass

from homing.builtin_rows import builtin_rows
from homing.kernel.codes import Condition, Order
from homing.routine import Ask, Command, Phase, Role, Table

#: Time for the first look at the sensor, and how long it may take to become steady [s].
#: Common practice, no source: a few loops, and far longer than any contact burst.
FIRST_LOOK_S, STEADY_WITHIN_S = 0.1, 1.0
#: Movement while told to stand that counts as not stopping [m].
#: Own choice: several times the overtravel that a lift is allowed.
STAND_LIMIT_M = 0.15
#: Movement during the first look, which begins at rest, that counts as not standing [m].
#: Own choice: a lift that sags slowly may sag this far; a drive that runs away is noticed within it.
LOOK_LIMIT_M = 0.015
#: Room for finding the edge again, besides what the settings say [m]. Own choice.
EDGE_ROOM_M = 0.005
#: Movement against the command that counts as wrong [m].
#: Own choice: more than slack, stretch and backlash let the spool move back.
WRONG_WAY_M = 0.02


@dataclass(frozen=True)
class Settings:
    """Settings of the built-in sequence in SI; speeds are positive.

    ``made_below_m``: no made reading belongs above this height; ``seen_above_m``: below it the sensor
    must have been made; ``possible_speed_m_s``: counts that change faster are wrong;
    ``edge_spread_m``: how far from where it let go the edge may be found again, besides the margin.
    """

    fast_m_s: float
    creep_m_s: float
    slow_zone_m: float
    first_lift_m: float
    back_off_m: float
    leave_limit_m: float
    stop: Order
    when_off: Order
    settle_s: float
    agree_readings: int
    timeout_s: float
    travel_guard_m: float
    no_motion_s: float
    recheck: bool
    recheck_tolerance_m: float
    retries: int
    made_below_m: float
    seen_above_m: float
    possible_speed_m_s: float
    stall_sensor: bool = False
    edge_spread_m: float = 0.0


def builtin_table(settings: Settings) -> Table:
    """The built-in sequence as a table.

    The check of the edge (``leaving_again``, ``creeping_again``, ``settling_again``) is in it only if asked
    for; with the hard stop as sensor, inward phases do not take standing counts for a fault.
    """
    phases = (*_first_phases(settings), *_edge_phases(settings), *_last_phases(settings))
    rows = builtin_rows(settings.recheck, settings.stall_sensor)
    return Table(
        phases, (*_readings(settings), *_movements(settings)), rows, told_by_standing=settings.stall_sensor
    )


def _first_phases(s: Settings) -> tuple[Phase, ...]:
    stand = Command(s.stop)
    return (
        Phase("waiting", Role.START, stand, "until a start is requested"),
        Phase("checking", Role.STOPPED, stand, "first look at the sensor, standing"),
        Phase("lifting", Role.MOVING, _out(s), "out, in case the target is already past the sensor"),
        Phase("coming_in", Role.MOVING, Command(Order.SPEED, -s.fast_m_s), "fast approach"),
        Phase("easing_in", Role.MOVING, _in(s), "slow zone once referenced"),
        Phase("stopping", Role.STOPPED, stand, "stop on the first made reading"),
    )


def _edge_phases(s: Settings) -> tuple[Phase, ...]:
    stand = Command(s.stop)
    once = (
        Phase("backing_off", Role.MOVING, _out(s), "out until the sensor has let go, and a margin"),
        Phase("creeping", Role.MOVING, _in(s), "slow approach to the edge"),
        Phase("settling", Role.STOPPED, stand, "stand still, let readings agree"),
    )
    again = (
        Phase("leaving_again", Role.MOVING, _out(s), "out again to check the edge"),
        Phase("creeping_again", Role.MOVING, _in(s), "slow approach once more"),
        Phase("settling_again", Role.STOPPED, stand, "stand still, compare both edges"),
    )
    return once + again if s.recheck else once


def _last_phases(s: Settings) -> tuple[Phase, ...]:
    return (
        Phase("zeroed", Role.ZEROED, Command(s.stop), "zero declared from the captured edge"),
        Phase("faulted", Role.FAULTED, Command(s.when_off), "stopped itself, reason kept; needs a person"),
    )


def _out(s: Settings) -> Command:
    return Command(Order.SPEED, s.creep_m_s)


def _in(s: Settings) -> Command:
    return Command(Order.SPEED, -s.creep_m_s)


def _readings(s: Settings) -> tuple[Ask, ...]:
    """What is asked of readings, edges and retries."""
    return (
        Ask("start_requested", Condition.START),
        Ask("made", Condition.MADE),
        Ask("readings_agree", Condition.MADE_RUN, float(s.agree_readings)),
        Ask("readings_agree_not_made", Condition.CLEAR_RUN, float(s.agree_readings)),
        Ask("referenced", Condition.REFERENCED),
        Ask("edge_not_trusted", Condition.EDGE_LONG_LOOP),
        Ask("edges_agree", Condition.EDGES_AGREE, s.recheck_tolerance_m),
        Ask("retries_used", Condition.RETRIES_USED, float(s.retries)),
    )


def _movements(s: Settings) -> tuple[Ask, ...]:
    """What is asked of counts and clock."""
    return (
        Ask("clear_by_margin", Condition.CLEAR_BY, s.back_off_m),
        Ask("standstill", Condition.STANDSTILL, s.settle_s),
        Ask("looked_long_enough", Condition.TIMER_OVER, FIRST_LOOK_S),
        Ask("never_steady", Condition.TIMER_OVER, STEADY_WITHIN_S),
        Ask("time_over", Condition.TIMER_OVER, s.timeout_s),
        Ask("past_travel_guard", Condition.MOVED, s.travel_guard_m),
        Ask("moved_while_standing", Condition.MOVED, STAND_LIMIT_M),
        Ask("moved_while_looking", Condition.MOVED, LOOK_LIMIT_M),
        Ask("lifted_far_enough", Condition.MOVED_OUT, s.first_lift_m),
        Ask("left_too_far", Condition.MOVED_OUT, s.leave_limit_m),
        Ask("crept_too_far", Condition.MOVED, s.back_off_m + s.edge_spread_m + EDGE_ROOM_M),
        Ask("not_moving", Condition.NOT_MOVING, s.no_motion_s),
        Ask("wrong_way", Condition.WRONG_WAY, WRONG_WAY_M),
        Ask("in_slow_zone", Condition.BELOW, s.slow_zone_m),
        Ask("below_sensor", Condition.BELOW, s.seen_above_m),
        Ask("above_trip_zone", Condition.ABOVE, s.made_below_m),
        Ask("counts_jumped", Condition.JUMPED, s.possible_speed_m_s),
    )
