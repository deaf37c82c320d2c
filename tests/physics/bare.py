"""The kernel's plant on its own: no sensor, no routine, a record filled by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from homing.impact import damping_number
from homing.kernel.codes import Mode, Order
from homing.kernel.controller import order
from homing.kernel.layout import new_scratch
from homing.kernel.setup import set_up_body
from homing.kernel.step import grip_or_slide, one_step
from homing.lift import new_runs

FAR_M = 1e6


@dataclass
class Path:
    """State after every accepted step, (n,) each."""

    t: np.ndarray
    spool: np.ndarray
    spool_speed: np.ndarray
    x: np.ndarray
    v: np.ndarray


class Bare:
    """One lift under the kernel's integrator; fields of the record by keyword, SI.

    Unless told otherwise: no gravity, no friction, an ideal motor of 1 kg reflected mass, a string of
    1e4 N/m, stops far away, and commands which are speeds.
    """

    def __init__(self, *, restitution: float = 1.0, error_share: float = 1.0, **fields: float) -> None:
        plain = {
            "mass_kg": 1.0,
            "travel_m": FAR_M,
            "stop_n_per_m": 6e4,
            "stop_loss": float(damping_number(restitution)),
            "pull_n_per_m": 1e4,
            "spare_m": FAR_M,
            "take_up_m": FAR_M,
            "spool_mass_kg": 1.0,
            "ratio_rad_per_m": 500.0,
            "force_n_per_a": 10.0,
            "efficiency": 1.0,
            "back_emf_v_s": 0.02,
            "resistance_ohm": 1.0,
            "motors": 1.0,
            "current_limit_a": 1e6,
            "loop_a_s_per_m": 10.0,
            "loop_a_per_m": 100.0,
            "acceleration_m_s2": 2.0,
            "deceleration_m_s2": 4.0,
            "open_circuit_v": 1e6,
            "fault_height_m": -FAR_M,
        }
        self.run = new_runs(1)[0]
        plain["stop_lossy_s"] = 1.5 * math.sqrt(plain["mass_kg"] / {**plain, **fields}["stop_n_per_m"])
        for name, value in {**plain, **fields}.items():
            self.run[name] = value
        self.body: Any = new_scratch(error_share)[0][0]
        set_up_body(self.run, self.body)
        self.order(Order.OPEN)

    def throw(self, x: float, v: float) -> None:
        """Let go of the carriage at ``x`` with speed ``v``, its string hanging far down."""
        self.body.spool_m, self.body.carriage_m, self.body.carriage_m_s = -1e3, x, v
        self.body.carriage_way, self.body.rates_known = float(np.sign(v)), 0
        grip_or_slide(self.run, self.body)

    def order(self, kind: Order, value: float = 0.0) -> None:
        order(self.run, self.body, int(kind), value)

    def advance(self, duration_s: float) -> Path:
        """Let it live; the first row is the state before."""
        body = self.body
        end_s, rows = body.time_s + duration_s, [self._row()]
        while body.time_s < end_s:
            ramp = body.ramp_end_s
            one_step(
                self.run, body, ramp if body.mode == Mode.SPEED and body.time_s < ramp < end_s else end_s
            )
            rows.append(self._row())
        return Path(*np.array(rows).T)

    def _row(self) -> tuple[float, ...]:
        b = self.body
        return b.time_s, b.spool_m, b.spool_m_s, b.carriage_m, b.carriage_m_s
