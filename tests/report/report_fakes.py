"""An INVENTED verification: shaped like a real one, made of made-up numbers, for tests of the reports only.

Nothing here comes from the simulation or from a real lift.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from report_fake_runs import NAN, fake_ensemble, fake_run, fake_sensor, fake_trace

from homing.assumed import Assumed
from homing.kernel.codes import Condition, Effect, Order, Reason
from homing.report.cautions import cautions
from homing.results import (
    FaultResult,
    Outcome,
    RequirementResult,
    Verification,
)
from homing.routine import Ask, Command, Phase, Role, Row, Table

__all__ = ["NAN", "fake_ensemble", "fake_run", "fake_sensor", "fake_trace"]


def _requirement(
    name: str, unit: str, limit: float, figures: tuple[float, ...], **more: Any
) -> RequirementResult:
    nominal, median, p95, p99, worst = figures
    base = RequirementResult(
        name, unit, limit, nominal, median, p95, p99, worst, 17, 0, 2000, 0.0, 0.0, 0.0015, 0.95, 0.0, True
    )
    return replace(base, **({"margin": limit - p99} | more))


def fake_requirements(passed: bool) -> tuple[RequirementResult, ...]:
    """The requirements of the contract, in an invented good or bad state."""
    short = {
        "failures": 41,
        "failure_probability": 0.0205,
        "ci_low": 0.0153,
        "ci_high": 0.0266,
        "passed": False,
        "margin": -1.2,
        "why": "41 of 2000 runs go further than 15 mm; at most 1 % may.",
    }
    over = {} if passed else short
    return (
        _requirement("overtravel_mm", "mm", 15.0, (8.7, 9.0, 11.3, 12.4, 16.3), **over),
        _requirement("impact_speed_mm_s", "mm/s", 80.0, (0.0, 0.0, 0.0, 31.2, 44.0)),
        _requirement("slack_mm", "mm", 8.0, (0.0, 0.0, 0.2, 0.9, 2.7)),
        _requirement(
            "zero_error_mm",
            "mm",
            2.0,
            (0.41, 0.45, 0.98, 1.21, 1.66),
            failures=2,
            failure_probability=0.001,
            ci_low=0.00018,
            ci_high=0.00315,
        ),
        _requirement(
            "time_to_zero_s",
            "s",
            6.0,
            (4.92, 4.96, 5.52, 5.6, NAN),
            failures=9,
            failure_probability=0.0045,
            ci_low=0.0024,
            ci_high=0.0079,
        ),
        _requirement("accepted_false_triggers", "", 0.0, (0.0, 0.0, 0.0, 0.0, 0.0)),
        _requirement("peak_current_a", "A", 25.0, (6.8, 7.1, 9.6, 10.4, 12.2)),
    )


_FAULTS = (
    ("sensor_stuck_on", "reading held made", 1, 0.0, "sensor still made after moving out"),
    ("sensor_stuck_off", "reading held not made", 1, 0.0, "no motion before the sensor was made"),
    ("sensor_inverted", "reading turned over", 1, 0.0, "sensor not plausible"),
    ("worn_cable", "reading drops out between two heights", 1, 0.0, "sensor passed"),
    ("magnet_dropped", "signal zero from its onset", 1, 0.0, "no motion before the sensor was made"),
    ("magnet_turned_over", "signal with the other sign", 0, 0.0, ""),
    ("lever_bent", "mount shifted by 2 to 8 mm", 2, 0.2, "second edge does not agree"),
    ("ambient_light", "signal raised by 0.2 to 0.9 of its peak", 0, 0.0, ""),
    ("sensor_noise", "each reading flips with 0.1 to 2 %", 1, 0.0, "second edge does not agree"),
    ("counter_reset", "counts set to 0 at its onset", 0, 0.0, "counter jumped"),
    ("count_loss", "1 to 10 % of the counts are lost", 0, 0.0, ""),
    ("hub_slip", "spool turns 2 to 20 mm without the motor", 2, 0.06, "second edge does not agree"),
    ("drive_reversed", "command with the other sign", 1, 0.0, "moves the wrong way"),
    ("motor_dead", "one motor gives no torque", 0, 0.0, ""),
    ("motors_opposed", "one motor works against the other", 1, 0.0, "no motion"),
    ("sticky_spot", "friction 20 to 60 N over 5 to 30 mm", 1, 0.0, "no motion"),
    ("string_off_pulley", "100 mm more line", 2, 0.52, "no motion before the sensor was made"),
    ("late_loop_50_ms", "one loop takes 50 ms", 0, 0.0, ""),
    ("late_loop_100_ms", "one loop takes 100 ms", 0, 0.0, ""),
    ("late_loop_200_ms", "one loop takes 200 ms", 2, 0.11, "sensor passed"),
    ("stale_readings", "readings repeat for 60 to 400 ms", 1, 0.0, "readings stale"),
    ("supply_dip", "battery 5 V lower for 50 to 500 ms", 0, 0.0, ""),
)


def fake_faults() -> tuple[FaultResult, ...]:
    """Twenty-two invented faults."""
    results = []
    for fault, alters, worst, unsafe, reason in _FAULTS:
        outcome = Outcome(worst)
        faulted = {0: 0.0, 1: 0.94, 2: 0.3}[worst]
        shares = {"zeroed": 1 - faulted - unsafe, "faulted": faulted, "unsafe": unsafe}
        overtravel = 9.1 if worst < 2 else 44.0
        error = 0.6 if worst == 0 else NAN if worst == 1 else 6.4
        results.append(
            FaultResult(fault, alters, outcome, worst < 2, shares, overtravel, 0.2, error, reason, 20, 14, 64)
        )
    return tuple(results)


def fake_lift(**changes: Any) -> Any:
    """Stand-in with the few things a report asks of a lift; ``changes`` replace them."""
    tolerances = (
        SimpleNamespace(key="lift.friction_n", low=3.5, high=6.5, origin="given"),
        SimpleNamespace(key="sensor.bottom.gap_mm", low=2.0, high=4.0, origin="given"),
        SimpleNamespace(key="sensor.bottom.operate_mt", low=1.4, high=4.6, origin="data sheet ABC, rev. D"),
    )
    given = {
        "lift": {"name": "Invented mast", "travel_mm": 640, "friction_n": 5.0},
        "sensor": [{"name": "bottom", "mount_mm": 8, "magnet": {"shape": "disc", "diameter_mm": 10.0}}],
        "tolerances": {"lift.friction_n": "30%"},
    }
    fields = {
        "name": "Invented mast",
        "source": "invented.toml",
        "fault_rates": {},
        "tolerances": tolerances,
        "given": given,
    }
    return SimpleNamespace(**(fields | changes))


def fake_verification(passed: bool = True, **changes: Any) -> Verification:
    """The whole invented verification; ``changes`` replace its fields."""
    advice = () if passed else ("Slow to 230 mm/s, or raise the sensor 6 mm.",)
    assumed = (
        Assumed("lift.weight_n", 11.768, "moving mass times 9.80665 m/s2"),
        Assumed("lift.viscous_n_s_per_m", 6.0, "slides 'drawer', starting value"),
        Assumed("lift.sway_mm", 0.5, "slides 'drawer', starting value"),
        Assumed("battery.resistance_ohm", 0.12, "default: small pack and wiring"),
        Assumed("routine.recheck", True, "default"),
        Assumed("sensor.bottom.magnet", {"shape": "disc", "diameter_mm": 10.0, "height_mm": 3.0}, "part"),
    )
    verification = Verification(
        table=fake_table(),
        lift=fake_lift(),
        seed=0,
        requirements=fake_requirements(passed),
        nominal=fake_run(),
        ensemble=fake_ensemble(),
        worst_runs=(fake_run(17, Outcome.UNSAFE, 1.9), fake_run(803, Outcome.FAULTED, 1.5)),
        faults=fake_faults(),
        diagnostic_coverage=0.713,
        zero_scatter_mm=0.31,
        sensor=fake_sensor(),
        advice=advice,
        assumed=assumed,
        cautions=cautions(magnet=True),
        notes=("kt and ke of the motor differ by 27 %.",),
    )
    return replace(verification, **changes)


_PHASES = (
    ("waiting", Role.START, 0.0, "Waits until it is told to begin."),
    ("checking", Role.STOPPED, 0.0, "Looks at the sensor before anything moves."),
    ("lifting", Role.MOVING, 0.1, "Moves out until the sensor is made, or far enough."),
    ("coming_in", Role.MOVING, -0.25, "Comes in fast."),
    ("stopping", Role.STOPPED, 0.0, "Stops on the first made reading."),
    ("backing_off", Role.MOVING, 0.03, "Leaves the sensor and goes a little further."),
    ("creeping", Role.MOVING, -0.03, "Comes in slowly."),
    ("settling", Role.STOPPED, 0.0, "Stands still until the readings agree."),
    ("zeroed", Role.ZEROED, 0.0, "Zero is set."),
    ("faulted", Role.FAULTED, 0.0, "Stands, with a reason."),
)

_ROWS = (
    Row("waiting", ("start",), (), "checking", why="begin"),
    Row("checking", ("steady_made",), (), "backing_off"),
    Row("checking", ("steady_clear",), ("referenced",), "lifting"),
    Row("checking", ("steady_clear", "referenced"), (), "coming_in"),
    Row("checking", ("timer_over",), (), "faulted", reason=Reason.NEVER_STEADY),
    Row("lifting", ("made",), (), "backing_off", (Effect.CAPTURE_EDGE,)),
    Row("lifting", ("moved_far_enough",), (), "coming_in"),
    Row("coming_in", ("made",), (), "stopping"),
    Row("stopping", ("standstill",), (), "backing_off"),
    Row("backing_off", ("clear_and_margin",), (), "creeping"),
    Row("creeping", ("made",), (), "settling", (Effect.CAPTURE_EDGE,)),
    Row(
        "settling",
        ("standstill", "readings_agree"),
        ("edge_read_across_long_loop",),
        "zeroed",
        (Effect.SET_ZERO,),
    ),
    Row("settling", ("standstill",), ("retries_used",), "backing_off", (Effect.COUNT_RETRY,)),
    *(
        Row(source, (reason.name.lower(),), (), "faulted", reason=reason)
        for source in ("lifting", "coming_in", "backing_off", "creeping")
        for reason in (Reason.TIME_OUT, Reason.TRAVEL_GUARD, Reason.NOT_MOVING, Reason.WRONG_WAY)
    ),
    Row("settling", ("timer_over",), (), "faulted", reason=Reason.DOES_NOT_STOP),
)


def fake_table() -> Table:
    """An invented routine, shorter than the real one."""
    phases = tuple(
        Phase(name, role, Command(Order.SPEED if speed else Order.HOLD, speed), why)
        for name, role, speed, why in _PHASES
    )
    names = dict.fromkeys(name for row in _ROWS for name in (*row.when, *row.unless))
    return Table(phases, tuple(Ask(name, Condition.MADE) for name in names), _ROWS)
