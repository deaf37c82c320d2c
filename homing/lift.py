"""The lift as equations, and a lift file as the record that the kernel reads.

Every length and force is referred to the carriage. State: spool height s and speed u, carriage height
x and speed v, integral z of the drive's speed loop. t time. All SI.

Symbols: G = w/u motor shaft speed per spool speed [rad/m]; n motors; R, ke, kt, Tf of one motor
(``homing.motor``); i current of one motor; U battery terminals; m carriage mass; M = n J G^2 rotors at the
carriage; eta gear efficiency; W weight along the travel; sign s' of sliding.

(1) motor        F = n kt G i;  shorted: i = -ke G u / R;  open: i = 0
(2) battery      U = U0 - Rb (Io + n d i),  i = (d U - ke G u) / R  at duty d, solved for i
(3) line         h = s - o;  past the spare line L it winds the other way round: h -> -2 L - h
(4) pull-up      T = max(0, k e + c f(e) e'),  e = h - x,  f fades in over the first 0.2 mm of stretch
(5) return       T = max(0, T0 + kr (x - s - slack)), past the take-up spring's travel stiff as (4);
                 belt and screw: (4) the other way round beyond their backlash
(6) speed loop   i = kp (r - u) + z,  z' = ki (r - u), limited by current and by U (then z stops);
                 r ramps to the commanded speed; kp = 2 (m + M) / (tau n kt G), ki = kp / (2 tau), which
                 puts both poles of the loop at -1 / tau: no overshoot but that of the zero
(7) gear         spool force = eta (F - s' Ff) while the motor drives, (F - s' Ff) / eta while the load
                 drives; Ff = n Tf G; a lead screw is not driven by its load
(8) stop         N = max(0, K (d + D min(d, dp) d' / v0)), depth d, v0 the speed at touch (at least
                 1 mm/s), D from the restitution by the exact relation in ``homing.impact``;
                 dp = 1.5 v0 sqrt(m / K) is deeper than any free impact at v0, so that the isolated
                 bounce is exact and only a carriage pressed deeper is damped less
(9) friction     Coulomb, set-valued: a body at rest stays stuck until the other forces exceed the
                 static friction (spool: motor friction and gear losses), then slides
(10) duty        d = (R F / (n kt G) + ke G r) / nominal voltage: what a program must send for the speed r,
                 F being the motor force for steady motion at nominal load, by (7) and (9)

    m v' = T_up - T_back - W - s'_x friction - viscous v + N_low - N_high
    M u' = gear(F) - T_up dh/ds + T_back

Assumptions: no inductance (far faster than the drive's loop), no waves in the string, spool radius does
not change with layers, motor friction and gear efficiency do not depend on speed, both motors share
current alike. The drive's speed loop is a critically damped proportional-integral loop.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from homing.impact import damping_number
from homing.kernel.codes import Coupling, Mode
from homing.kernel.layout import RUN, Records
from homing.motor import Motor
from homing.words import CommandKind, DriveKind, EncoderPlace

if TYPE_CHECKING:
    from homing.liftfile import Lift

G_M_S2 = 9.80665
MM, MS = 1e-3, 1e-3
N_PER_MM = 1e3

#: Longest run; every moving phase has its own, shorter time-out [s].
LONGEST_RUN_S = 60.0
#: How long a run is watched after it was zeroed or faulted, to see a lift that sags or still moves [s].
WATCHED_AFTER_S = 1.0
#: Supply below which small controllers cut the sensors' rail [V]; read in a controller's documentation:
#: outputs and sensor rails disabled at 6.3 V.
RAIL_LOW_V = 6.3
#: A stop pressed deeper than this many depths of a lossless free impact is not in a free impact.
PRESSED_SHARE = 1.5
#: Feeling for the hard stop, the current is limited to this share of what lifting out needs; own choice,
#: enough for any friction within tolerance, little enough not to press hard.
STALL_SHARE = 2.0

Values = Mapping[str, Any]


class Numbers:
    """The numbers of a lift with drawn values put over them; a missing key is an error."""

    def __init__(self, lift: Lift, values: Values) -> None:
        self._nominal = lift.quantities()
        self._values = values

    def __call__(self, key: str, scale: float = 1.0) -> Any:
        value = self._values[key] if key in self._values else self._nominal[key]
        return np.asarray(value, dtype=np.float64) * scale

    def drawn(self, key: str) -> bool:
        return key in self._values

    def nominal(self, key: str) -> float:
        return self._nominal[key]


def fill_lift(runs: Records, lift: Lift, values: Values) -> None:
    """Fill the plant, drive and controller fields of ``runs`` (n,).

    Parameters
    ----------
    runs : recarray, shape (n,), dtype ``RUN``
        Written in place.
    lift : Lift
        Nominal numbers.
    values : mapping
        ``section.key`` to a number or (n,) array in the file's unit, put over the nominal ones.
    """
    q = Numbers(lift, values)
    _fill_carriage(runs, lift, q)
    _fill_coupling(runs, lift, q)
    _fill_drive(runs, lift, q)
    if lift.drive.command is CommandKind.DUTY:
        _fill_duty(runs, lift)
    _fill_supply_and_controller(runs, q)


def new_runs(count: int) -> Records:
    """``count`` empty run records, with no fault."""
    runs = np.zeros(count, RUN).view(np.recarray)
    runs.fault_height_m = -1.0e6
    runs.fault_onset_s = 1.0e300
    runs.max_time_s = LONGEST_RUN_S
    runs.after_s = WATCHED_AFTER_S
    return runs


def _follows(lift: Lift, key: str) -> bool:
    """Whether a key was worked out from another one, and so moves with it."""
    return any(assumed.key == key for assumed in lift.assumed)


def _fill_carriage(runs: Records, lift: Lift, q: Numbers) -> None:
    runs.mass_kg = q("lift.moving_mass_kg")
    weight = q("lift.weight_n")
    if _follows(lift, "lift.weight_n") and not q.drawn("lift.weight_n"):
        weight = q("lift.moving_mass_kg") * G_M_S2
    runs.gravity_n = weight * math.sin(math.radians(lift.lift.incline_deg))
    runs.friction_n = q("lift.friction_n")
    static = q("lift.static_friction_n")
    if (
        q.drawn("lift.friction_n")
        and not q.drawn("lift.static_friction_n")
        and q.nominal("lift.friction_n") > 0.0
    ):
        static = static * q("lift.friction_n") / q.nominal("lift.friction_n")
    runs.static_friction_n = static
    runs.viscous_n_s_per_m = q("lift.viscous_n_s_per_m")
    runs.travel_m = q("lift.travel_mm", MM)
    runs.start_m = q("lift.start_mm", MM)
    runs.stop_n_per_m = q("stop.stiffness_n_per_mm", N_PER_MM)
    runs.stop_loss = damping_number(q("stop.restitution"))
    runs.stop_lossy_s = PRESSED_SHARE * np.sqrt(runs.mass_kg / runs.stop_n_per_m)


def _fill_coupling(runs: Records, lift: Lift, q: Numbers) -> None:
    runs.coupling = Coupling(int(lift.drive.kind))
    if lift.string is None:
        runs.pull_n_per_m = q("drive.stiffness_n_per_mm", N_PER_MM)
        # damping of belt and screw: a twentieth of critical, own estimate
        runs.pull_n_s_per_m = 0.1 * np.sqrt(runs.pull_n_per_m * runs.mass_kg)
        runs.backlash_m = q("drive.backlash_mm", MM)
        return
    runs.pull_n_per_m = q("string.stiffness_n_per_mm", N_PER_MM)
    runs.pull_n_s_per_m = q("string.damping_n_s_per_m")
    runs.spare_m = q("string.spare_line_mm", MM) * q("drive.travel_per_line")
    if lift.string.return_string:
        runs.return_n_per_m = q("string.return_stiffness_n_per_mm", N_PER_MM)
        runs.return_slack_m = q("string.return_slack_mm", MM) * q("drive.travel_per_line")
        runs.return_preload_n = q("string.return_preload_n")
        runs.take_up_m = q("string.return_take_up_mm", MM)


def travel_per_turn_m(lift: Lift, q: Numbers) -> Any:
    """Carriage travel for one turn of spool, pulley or screw [m]."""
    if lift.drive.lead_mm is not None:
        return q("drive.lead_mm", MM) * q("drive.travel_per_line")
    key = (
        "drive.spool_diameter_mm" if lift.drive.spool_diameter_mm is not None else "drive.pulley_diameter_mm"
    )
    return math.pi * q(key, MM) * q("drive.travel_per_line")


def motor_of(q: Numbers) -> Motor:
    """One motor of the lift, its numbers floats or arrays."""
    return Motor(
        free_speed_rad_per_s=q("drive.motor_free_speed_rpm") * 2.0 * math.pi / 60.0,
        stall_torque_nm=q("drive.motor_stall_torque_nm"),
        stall_current_a=q("drive.motor_stall_current_a"),
        free_current_a=q("drive.motor_free_current_a"),
        nominal_v=q("drive.nominal_voltage_v"),
    )


def _fill_drive(runs: Records, lift: Lift, q: Numbers) -> None:
    motor = motor_of(q)
    turn_m = travel_per_turn_m(lift, q)
    runs.motors = lift.drive.motors
    runs.ratio_rad_per_m = 2.0 * math.pi * q("drive.gear_ratio") / turn_m
    runs.spool_mass_kg = runs.motors * q("drive.rotor_inertia_kg_m2") * runs.ratio_rad_per_m**2
    runs.force_n_per_a = runs.motors * motor.torque_nm_per_a * runs.ratio_rad_per_m
    runs.motor_friction_n = runs.motors * motor.friction_nm * runs.ratio_rad_per_m
    runs.efficiency = q("drive.gear_efficiency")
    runs.back_emf_v_s = motor.emf_v_s_per_rad
    runs.resistance_ohm = motor.resistance_ohm
    runs.current_limit_a = q("drive.current_limit_a") / runs.motors
    tau_s = q("drive.speed_loop_time_constant_ms", MS)
    runs.loop_a_s_per_m = 2.0 * (runs.mass_kg + runs.spool_mass_kg) / (tau_s * runs.force_n_per_a)
    runs.loop_a_per_m = runs.loop_a_s_per_m / (2.0 * tau_s)
    runs.acceleration_m_s2 = q("drive.acceleration_mm_s2", MM)
    runs.deceleration_m_s2 = q("drive.deceleration_mm_s2", MM)
    runs.command = Mode.DUTY if lift.drive.command is CommandKind.DUTY else Mode.SPEED
    turns = q("drive.gear_ratio") if lift.drive.encoder_on is EncoderPlace.MOTOR else 1.0
    runs.counts_per_m = q("drive.encoder_counts_per_rev") * turns / turn_m


def _nominal(lift: Lift) -> Any:
    """The record of the lift as written."""
    plain = new_runs(1)
    q = Numbers(lift, {})
    _fill_carriage(plain, lift, q)
    _fill_coupling(plain, lift, q)
    _fill_drive(plain, lift, q)
    return plain[0]


def _lifting_force_n(one: Any) -> float:
    """Motor force that just keeps the nominal lift moving out."""
    return float((one.gravity_n + one.friction_n) / one.efficiency + one.motor_friction_n)


def stall_limit_a(lift: Lift) -> float:
    """Current of one motor to which a lift that feels for its hard stop is limited [A]."""
    one = _nominal(lift)
    return STALL_SHARE * _lifting_force_n(one) / float(one.force_n_per_a)


def _fill_duty(runs: Records, lift: Lift) -> None:
    """Duties of the program, eq. (10): written for the nominal lift, whatever the drawn one is."""
    one, nominal_v = _nominal(lift), lift.drive.nominal_voltage_v
    per_n = one.resistance_ohm / one.force_n_per_a / nominal_v
    per_m_s = one.back_emf_v_s * one.ratio_rad_per_m / nominal_v
    runs.duty_out = per_n * _lifting_force_n(one)
    runs.duty_out_s_per_m = per_m_s + per_n * one.viscous_n_s_per_m / one.efficiency
    hangs_n = one.gravity_n - one.friction_n
    if (
        hangs_n > 0.0 and lift.drive.kind is not DriveKind.LEAD_SCREW
    ):  # the load drives: it is held back, with the gear's losses helping
        runs.duty_in = per_n * (one.efficiency * hangs_n - one.motor_friction_n)
        runs.duty_in_s_per_m = per_m_s + per_n * one.efficiency * one.viscous_n_s_per_m
        return
    pulls = lift.string is None or lift.string.return_string
    pulled_n = max(-hangs_n, 0.0) if pulls else 0.0
    runs.duty_in = -per_n * (pulled_n / one.efficiency + one.motor_friction_n)
    runs.duty_in_s_per_m = per_m_s + per_n * one.viscous_n_s_per_m / one.efficiency


def _fill_supply_and_controller(runs: Records, q: Numbers) -> None:
    runs.open_circuit_v = q("battery.open_circuit_v")
    runs.battery_ohm = q("battery.resistance_ohm")
    runs.other_load_a = q("battery.other_load_a")
    runs.rail_low_v = RAIL_LOW_V
    runs.period_s = q("controller.period_ms", MS)
    runs.jitter_s = q("controller.jitter_ms", MS)
    runs.late_probability = q("controller.late_loop_probability")
    runs.late_s = q("controller.late_loop_ms", MS)
    runs.sensor_latency_s = q("controller.sensor_latency_ms", MS)
    # whole loops of latency are a lag of the reading, the rest is an earlier instant within the loop
    runs.reading_lag = np.floor(runs.sensor_latency_s / runs.period_s).astype(np.int64)
    runs.read_before_s = runs.sensor_latency_s - runs.reading_lag * runs.period_s
    runs.drive_latency_s = q("controller.drive_latency_ms", MS)
    runs.settle_s = q("routine.settle_ms", MS)
