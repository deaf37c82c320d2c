"""Settings of the built-in sequence for one lift, in SI."""

from __future__ import annotations

from typing import TYPE_CHECKING

from homing.builtin import Settings
from homing.kernel.codes import Order
from homing.lift import MM, MS
from homing.words import StopKind, WindingsOff

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Braking from creep that every drive manages, friction alone included [m/s2]; own choice.
CREEP_BRAKING_M_S2 = 1.0
#: A guard speed: counts that change faster than this many free speeds have jumped.
POSSIBLE_SHARE = 2.0


def stop_order(stop: StopKind) -> Order:
    """Order of a stop as the lift file words it."""
    return {StopKind.HOLD: Order.HOLD, StopKind.SHORTED: Order.SHORTED, StopKind.OPEN: Order.OPEN}[stop]


def routine_settings(lift: Lift, zone_m: tuple[float, float], trip_m: float, stall_sensor: bool) -> Settings:
    """Settings of the built-in sequence for this lift in SI.

    Parameters
    ----------
    zone_m : tuple of float
        Lowest and highest carriage height at which the sensor may be made, over the tolerances [m].
    trip_m : float
        Nominal trip height [m].
    stall_sensor : bool
        The end is told by the hard stop itself.
    """
    r, drive = lift.routine, lift.drive
    off = Order.SHORTED if drive.when_off is WindingsOff.SHORTED else Order.OPEN
    room_m = r.recheck_tolerance_mm * MM + r.back_off_mm * MM
    creep_m_s = r.creep_speed_mm_s * MM
    return Settings(
        fast_m_s=r.fast_speed_mm_s * MM,
        creep_m_s=creep_m_s,
        slow_zone_m=r.slow_zone_mm * MM,
        first_lift_m=r.first_lift_mm * MM,
        back_off_m=r.back_off_mm * MM,
        leave_limit_m=r.leave_limit_mm * MM,
        # the hard stop is let go of once met: a drive that holds would go on pressing
        stop=off if stall_sensor else stop_order(r.stop),
        when_off=off,
        settle_s=r.settle_ms * MS,
        agree_readings=r.agree_readings,
        timeout_s=r.timeout_s,
        travel_guard_m=r.travel_guard_mm * MM,
        no_motion_s=r.no_motion_ms * MS,
        recheck=r.recheck,
        recheck_tolerance_m=r.recheck_tolerance_mm * MM,
        retries=r.retries,
        made_below_m=zone_m[1] + room_m,
        seen_above_m=min(zone_m[0], trip_m) - room_m,
        possible_speed_m_s=POSSIBLE_SHARE * drive.free_speed_mm_s * MM,
        stall_sensor=stall_sensor,
        edge_spread_m=zone_m[1] - zone_m[0] + _late_by_m(lift, creep_m_s),
    )


def _late_by_m(lift: Lift, creep_m_s: float) -> float:
    """Travel at creep speed until a change of the sensor has stopped the lift [m]."""
    delays = lift.controller
    sample_ms = lift.quantities().get(f"sensor.{lift.sensor().name}.sample_period_ms", 0.0)
    delay_s = (2.0 * delays.period_ms + delays.sensor_latency_ms + delays.drive_latency_ms + sample_ms) * MS
    return creep_m_s * delay_s + creep_m_s**2 / (2.0 * CREEP_BRAKING_M_S2)
