"""The equations of the lift written a second time, from the docstring of ``homing.lift`` and its numbers.

They share no code with the kernel; of a kernel record (``homing.kernel.layout.RUN``) they take the numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from homing.kernel.codes import Coupling, Mode

#: Stretch over which the damping of a string fades in, equation (4) [m].
FADE_M = 2e-4
#: Impact speeds count as at least this, equation (8) [m/s].
LEAST_TOUCH_M_S = 1e-3
#: Dissipation grows up to this many depths of a lossless free impact, equation (8).
PRESSED = 1.5


@dataclass
class Drive:
    """What the drive was told: a speed with its ramp, a duty, or windings shorted or open."""

    mode: Mode = Mode.OPEN
    duty: float = 0.0
    target: float = 0.0
    ramp_from: float = 0.0
    ramp_start: float = 0.0
    ramp_end: float = 0.0

    def speed_at(self, t: float) -> float:
        if t >= self.ramp_end:
            return self.target
        share = (t - self.ramp_start) / (self.ramp_end - self.ramp_start)
        return self.ramp_from + share * (self.target - self.ramp_from)


class Equations:
    """Forces on one lift; state y = (s, u, x, v, z) as in ``homing.lift``."""

    def __init__(self, run: Any) -> None:
        self.p = {name: run[name].item() for name in run.dtype.names}
        self.drive = Drive()
        self.touch_low = self.touch_high = LEAST_TOUCH_M_S
        self.evaluations = 0

    def line(self, s: float) -> tuple[float, float]:
        """Equation (3): height implied by the pull-up string, and its rate per spool speed."""
        spare = self.p["spare_m"]
        if self.p["coupling"] == Coupling.STRING and s < -spare:
            return -2.0 * spare - s, -1.0
        return s, 1.0

    def taut(self, stretch: float, rate: float) -> float:
        """Equation (4)."""
        if stretch <= 0.0:
            return 0.0
        damping = self.p["pull_n_s_per_m"] * min(stretch / FADE_M, 1.0)
        return max(0.0, self.p["pull_n_per_m"] * stretch + damping * rate)

    def inward(self, s: float, u: float, x: float, v: float) -> float:
        """Equation (5): return string, or the other side of belt and screw."""
        p = self.p
        if p["coupling"] != Coupling.STRING:
            return self.taut(x - s - p["backlash_m"], v - u)
        if p["return_n_per_m"] <= 0.0:
            return 0.0
        stretch = x - s - p["return_slack_m"]
        solid = self.taut(stretch - p["take_up_m"], v - u)
        return max(0.0, p["return_preload_n"] + p["return_n_per_m"] * stretch + solid)

    def current_at_duty(self, duty: float, u: float) -> float:
        """Equation (2), solved for the current of one motor."""
        p = self.p
        emf = p["back_emf_v_s"] * p["ratio_rad_per_m"] * u
        supply = p["open_circuit_v"] - p["battery_ohm"] * p["other_load_a"]
        return (duty * supply - emf) / (p["resistance_ohm"] + p["battery_ohm"] * p["motors"] * duty**2)

    def current(self, t: float, u: float, z: float) -> tuple[float, float]:
        """Equations (1), (2), (6): current of one motor and the rate of the loop's integral."""
        p, drive = self.p, self.drive
        if drive.mode == Mode.OPEN:
            return 0.0, 0.0
        if drive.mode == Mode.SHORTED:
            return -p["back_emf_v_s"] * p["ratio_rad_per_m"] * u / p["resistance_ohm"], 0.0
        if drive.mode == Mode.DUTY:
            return self.current_at_duty(drive.duty, u), 0.0
        error = drive.speed_at(t) - u
        wanted, growth = p["loop_a_s_per_m"] * error + z, p["loop_a_per_m"] * error
        most = min(p["current_limit_a"], self.current_at_duty(1.0, u))
        least = max(-p["current_limit_a"], self.current_at_duty(-1.0, u))
        if wanted > most:
            return most, min(growth, 0.0)
        if wanted < least:
            return least, max(growth, 0.0)
        return wanted, growth

    def stop(self, depth: float, rate: float, touch: float) -> float:
        """Equation (8)."""
        if depth <= 0.0:
            return 0.0
        p = self.p
        pressed = PRESSED * touch * math.sqrt(p["mass_kg"] / p["stop_n_per_m"])
        return max(0.0, p["stop_n_per_m"] * (depth + p["stop_loss"] * min(depth, pressed) * rate / touch))

    def forces(self, t: float, y: np.ndarray) -> tuple[float, float, float, float]:
        """Free force on the carriage, motor force, string force on the spool [N]; rate of z [A/s]."""
        self.evaluations += 1
        s, u, x, v, z = y.tolist()
        p = self.p
        height, turn = self.line(s)
        up, back = self.taut(height - x, turn * u - v), self.inward(s, u, x, v)
        current, growth = self.current(t, u, z)
        push = self.stop(-x, -v, self.touch_low) - self.stop(x - p["travel_m"], v, self.touch_high)
        free = up - back - p["gravity_n"] - p["viscous_n_s_per_m"] * v + push
        return free, p["force_n_per_a"] * current, back - turn * up, growth

    def spool_force(self, motor: float, string: float, way: int) -> float:
        """Equation (7) with the string: net force on a spool that slides ``way``."""
        left = motor - way * self.p["motor_friction_n"]
        geared = left * self.p["efficiency"] if left * way > 0 else left / self.p["efficiency"]
        if self.p["coupling"] == Coupling.LEAD_SCREW and string * way > 0:
            string = 0.0
        return geared + string

    def duty_for(self, speed: float) -> float:
        """Equation (10): its two straight lines come with the record."""
        if speed == 0.0:
            return 0.0
        way = "duty_out" if speed > 0.0 else "duty_in"
        return float(self.p[way] + self.p[f"{way}_s_per_m"] * speed)
