"""A brushed motor from the numbers on its data sheet: two straight lines over speed.

At the nominal voltage Vn the sheet gives the free speed w0, the stall torque Ts, and the currents Is at
stall and I0 running free. Torque at the shaft and current then fall on straight lines::

    T = Ts (1 - w/w0)                I = Is - (Is - I0) w/w0

which is the motor ``V = R i + ke w``, ``T = kt i - Tf`` with

===================================  ==========================================
R  = Vn / Is                         winding resistance [ohm]
ke = (Vn / w0) (1 - I0 / Is)         back-EMF per speed [V s/rad]
kt = Ts / (Is - I0)                  torque per current [N m/A]
Tf = kt I0                           friction torque of the motor alone [N m]
===================================  ==========================================

Assumptions: no inductance (its time constant, below 1 ms for such motors, is far under the drive's), no
magnetic saturation, windings at the temperature of the sheet. For an ideal motor kt and ke are the same
number in SI units; sheets of cheap motors disagree with themselves, which ``mismatch`` tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Value = float | NDArray[np.float64]

#: A disagreement between kt and ke beyond this share is worth telling the reader.
NOTED_MISMATCH = 0.25


@dataclass(frozen=True, kw_only=True)
class Motor:
    """One motor; every field a float or an array that broadcasts with the others, e.g. (n,).

    The free current must be below the stall current.

    Parameters
    ----------
    free_speed_rad_per_s : float or ndarray
        Speed without load at the nominal voltage, motor shaft [rad/s].
    stall_torque_nm : float or ndarray
        Torque held still at the nominal voltage, motor shaft [N m].
    stall_current_a, free_current_a : float or ndarray
        Currents held still and running free at the nominal voltage [A].
    nominal_v : float or ndarray
        Voltage of all the above [V].

    Examples
    --------
    >>> motor = Motor(free_speed_rad_per_s=628.3, stall_torque_nm=0.17, stall_current_a=9.2,
    ...               free_current_a=0.25, nominal_v=12.0)
    >>> round(motor.resistance_ohm, 4), round(motor.peak_power_w, 1)
    (1.3043, 26.7)
    """

    free_speed_rad_per_s: Value
    stall_torque_nm: Value
    stall_current_a: Value
    free_current_a: Value
    nominal_v: Value

    @property
    def resistance_ohm(self) -> Value:
        """Winding and brush resistance R [ohm]."""
        return self.nominal_v / self.stall_current_a

    @property
    def emf_v_s_per_rad(self) -> Value:
        """Back-EMF constant ke [V s/rad]."""
        return self.nominal_v / self.free_speed_rad_per_s * (1.0 - self.free_current_a / self.stall_current_a)

    @property
    def torque_nm_per_a(self) -> Value:
        """Torque constant kt, before the motor's own friction [N m/A]."""
        return self.stall_torque_nm / (self.stall_current_a - self.free_current_a)

    @property
    def friction_nm(self) -> Value:
        """Friction torque Tf of the motor alone, from its free current [N m]."""
        return self.torque_nm_per_a * self.free_current_a

    @property
    def mismatch(self) -> Value:
        """kt/ke - 1 [-]: 0 for an ideal motor, positive if the sheet promises too much torque."""
        return self.torque_nm_per_a / self.emf_v_s_per_rad - 1.0

    @property
    def peak_power_w(self) -> Value:
        """Largest shaft power at the nominal voltage, at half the free speed: Ts w0 / 4 [W]."""
        return self.stall_torque_nm * self.free_speed_rad_per_s / 4.0

    @property
    def speed_per_torque(self) -> Value:
        """Speed lost per torque, R/(kt ke) [rad/s per N m]."""
        return self.resistance_ohm / (self.torque_nm_per_a * self.emf_v_s_per_rad)

    def mechanical_time_s(self, inertia_kg_m2: Value) -> Value:
        """Time constant of the bare rotor at a fixed voltage, J R/(kt ke) [s]."""
        return inertia_kg_m2 * self.speed_per_torque

    def current_a(self, voltage_v: Value, speed_rad_per_s: Value) -> Value:
        """Winding current at a terminal voltage [V] and a shaft speed [rad/s]."""
        return (voltage_v - self.emf_v_s_per_rad * speed_rad_per_s) / self.resistance_ohm

    def shaft_torque_nm(self, voltage_v: Value, speed_rad_per_s: Value) -> Value:
        """Torque at the shaft while turning forwards, friction taken off [N m]."""
        return self.torque_nm_per_a * self.current_a(voltage_v, speed_rad_per_s) - self.friction_nm
