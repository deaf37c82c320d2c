"""The lift built from parts of a general physics engine (MuJoCo): joints, a tendon, dry friction, a limit.

Carriage and spool are bodies on slide joints with the engine's own dry friction. The pull-up string is a
fixed tendon over both joints with a dead band: it pulls when stretched and hangs loose otherwise. (A tendon
limit, the other way to build a string, is a constraint whose stiffness the engine scales by the masses; it
would carry the weight without any stretch.) The hard stop is the engine's joint limit. Motor, battery and
speed loop are no part of an engine; their force, and the string's damping, which the engine knows only for
both directions, are computed outside and applied at each step.
"""

from __future__ import annotations

from typing import Any

import mujoco
import numpy as np
from ode_equations import FADE_M
from ode_lift import OdeLift
from ode_loop import TIME, KernelRun, Measure, OdeRun, orders_of

from homing.batches import Batch
from homing.impact import delivered_restitution
from homing.kernel.codes import Order
from homing.setting import Setting

#: Length of the tendon when the string is just taut [m]; the engine wants lengths to be positive.
NATURAL_M = 10.0

MODEL = """
<mujoco>
  <option gravity="0 0 0" integrator="{integrator}" tolerance="1e-12" iterations="100">
    <flag contact="disable"/>
  </option>
  <default>
    <joint type="slide" axis="0 0 1"
           solreffriction="{softness} 1" solimpfriction="0.9999 0.9999 0.001 0.5 1"/>
  </default>
  <worldbody>
    <body name="carriage">
      <inertial pos="0 0 0" mass="{mass_kg}" diaginertia="1 1 1"/>
      <joint name="carriage" damping="{viscous_n_s_per_m}" frictionloss="{friction_n}"
             limited="true" range="0 {travel_m}"
             solreflimit="-{stop_k} -{stop_c}" solimplimit="0.95 0.95 0.001 0.5 1"/>
    </body>
    <body name="spool">
      <inertial pos="0 0 0" mass="{spool_mass_kg}" diaginertia="1 1 1"/>
      <joint name="spool" frictionloss="{motor_friction_n}"/>
    </body>
  </worldbody>
  <tendon>
    <fixed name="string" stiffness="{pull_n_per_m}" springlength="0 {natural}">
      <joint joint="spool" coef="1"/><joint joint="carriage" coef="-1"/>
    </fixed>
  </tendon>
</mujoco>
"""


def build(run: Any, softness_s: float, integrator: str = "Euler") -> tuple[Any, Any]:
    """Engine model and state of a string lift without return string and with gear efficiency 1.

    ``softness_s`` is the time constant with which dry friction is enforced, at least two steps.
    """
    numbers = {name: run[name].item() for name in run.dtype.names}
    mass = numbers["mass_kg"]
    # linear damping of the limit with the damping ratio that bounces alike from a free impact; the engine
    # takes both per unit of mass
    restitution = float(delivered_restitution(numbers["stop_loss"]))
    ratio = -np.log(restitution) / np.hypot(np.pi, np.log(restitution))
    stiffness = numbers["stop_n_per_m"] / mass
    model = mujoco.MjModel.from_xml_string(
        MODEL.format(
            **numbers,
            natural=NATURAL_M,
            softness=softness_s,
            integrator=integrator,
            stop_k=stiffness,
            stop_c=2 * ratio * np.sqrt(stiffness),
        )
    )
    return model, mujoco.MjData(model)


class EngineLift:
    """Commands and time of one lift in the engine, steps never longer than ``step_s``."""

    def __init__(self, run: Any, step_s: float) -> None:
        assert run.efficiency == 1.0
        assert run.return_n_per_m == 0.0
        self.run, self.step_s = run, step_s
        self.model, self.data = build(run, softness_s=2.5 * step_s)
        self.drive = OdeLift(run)
        self.loop_integral = 0.0
        s, _, x, _, _ = self.drive.y
        self.data.qpos[:] = x, s + NATURAL_M

    @property
    def state(self) -> np.ndarray:
        x, s = self.data.qpos
        v, u = self.data.qvel
        return np.array([s - NATURAL_M, u, x, v, self.loop_integral])

    def _show_drive(self) -> None:
        self.drive.t, self.drive.y = self.data.time, self.state

    def power_up(self, kind: Order, value: float) -> None:
        self.drive.power_up(kind, value)
        self.loop_integral = float(self.drive.y[4])

    def order(self, kind: Order, value: float) -> None:
        self._show_drive()
        self.drive.order(kind, value)
        self.loop_integral = float(self.drive.y[4])

    def advance(self, end_s: float, measure: Measure) -> None:
        data, model, run = self.data, self.model, self.run
        steps = max(1, int(np.ceil((end_s - data.time) / self.step_s - 1e-9)))
        model.opt.timestep = (end_s - data.time) / steps
        for _ in range(steps):
            before, t0 = self.state, data.time
            s, u, x, v, z = before
            current, growth = self.drive.current(t0 + 0.5 * model.opt.timestep, u, z)
            stretch = s - x
            fade = min(max(stretch, 0.0) / FADE_M, 1.0)
            damping = max(run.pull_n_s_per_m * fade * (u - v), -run.pull_n_per_m * max(stretch, 0.0))
            data.qfrc_applied[:] = damping - run.gravity_n, run.force_n_per_a * current - damping
            mujoco.mj_step(model, data)
            self.loop_integral += growth * model.opt.timestep
            measure.note_ends(before, self.state, data.time)


def engine_run(setting: Setting, batch: Batch, i: int, kernel: KernelRun, step_s: float) -> OdeRun:
    """The kernel's commands, open loop, at the same instants and loops, in the engine."""
    run, table = batch.runs[i], setting.compiled
    lift = EngineLift(run, step_s)
    measure = Measure(float(run.trip_m), float(run.release_m), float(run.settle_s))
    lift.power_up(Order(int(table.phase_order[0])), float(table.phase_value[0]))
    orders, states = orders_of(setting, run, kernel.trace), []
    for tick_s in kernel.trace[:, TIME]:
        while orders and orders[0][0] <= tick_s:
            obeyed_s, order, value = orders.pop(0)
            lift.advance(obeyed_s, measure)
            lift.order(order, value)
        lift.advance(float(tick_s), measure)
        states.append(lift.state)
    measure.finish()
    return OdeRun(kernel.trace[:, TIME], np.array(states), kernel.trace[:, 1], measure, 0)
