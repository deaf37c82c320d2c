"""INVENTED runs: shaped like real ones, made of made-up numbers, for tests of the reports only."""

from __future__ import annotations

from typing import Any

import numpy as np

from homing.draws import Start
from homing.kernel.codes import REASON_TEXT, Reason
from homing.results import (
    Ensemble,
    Outcome,
    Run,
    SensorView,
    Stop,
    Trace,
)

NAN = float("nan")

# phase, duration [s], target speed of the spool [mm/s]
_STORY = (
    ("waiting", 0.10, 0.0),
    ("checking", 0.04, 0.0),
    ("lifting", 0.40, 100.0),
    ("coming_in", 1.75, -250.0),
    ("stopping", 0.30, 0.0),
    ("backing_off", 0.80, 30.0),
    ("creeping", 0.82, -30.0),
    ("settling", 0.16, 0.0),
    ("leaving_again", 0.80, 30.0),
    ("creeping_again", 0.79, -30.0),
    ("settling_again", 0.16, 0.0),
    ("zeroed", 0.30, 0.0),
)


def fake_trace(start_mm: float = 395.0, trip_mm: float = 12.0) -> Trace:
    """A trapezoid story at 20 ms a tick; the carriage lags the spool by an invented stretch."""
    period = 0.02
    states: list[str] = []
    targets: list[float] = []
    for phase, seconds, target in _STORY:
        ticks = round(seconds / period)
        states += [phase] * ticks
        targets += [target] * ticks
    t = np.arange(len(states)) * period
    speed: Any = np.zeros(len(t))
    for k in range(1, len(t)):
        speed[k] = speed[k - 1] + np.clip(targets[k] - speed[k - 1], -4000 * period, 2500 * period) * 0.45
    spool = start_mm + np.cumsum(speed) * period
    spool -= spool[-1] - (trip_mm - 1.2)
    carriage = spool + 0.4 - 0.002 * speed + 0.3 * np.exp(-((t - 3.05) ** 2) / 0.002)
    made = (carriage < trip_mm) & (carriage > 2.0)
    moving = np.abs(speed) > 1.0
    return Trace(
        {
            "t_s": t,
            "state": np.array(states),
            "command_fraction": np.array(targets) / 420.0,
            "counts": np.floor(spool / 0.44).astype(np.int64),
            "spool_mm": spool,
            "carriage_mm": carriage,
            "carriage_mm_s": np.gradient(carriage, period),
            "sensor_bottom": 6.0 * np.exp(-((carriage - 8.0) ** 2) / 60.0),
            "reading_bottom": made,
            "current_a": np.where(moving, 2.4 - 0.006 * speed, 1.2),
            "battery_v": 13.0 - 0.12 * np.where(moving, 2.4 - 0.006 * speed, 1.2),
            "string_n": np.where(moving, 14.0, 11.8),
            "return_string_n": np.zeros(len(t)),
            "stop_n": np.zeros(len(t)),
        }
    )


def fake_run(index: int | None = None, outcome: Outcome = Outcome.ZEROED, scale: float = 1.0) -> Run:
    """One invented run with three stops; ``scale`` makes it worse."""
    budget = {
        "sensor_age": 0.62 * scale,
        "reading_delay": 0.5,
        "loop_wait": 2.31 * scale,
        "late_loop": 0.0,
        "drive_delay": 0.75,
        "braking": 4.4 * scale,
        "string": -0.38,
    }
    distance = sum(budget.values())
    slow = {part: mm * 0.11 for part, mm in budget.items()}
    stops = (
        Stop(12.0, 12.0 - distance, distance, budget),
        Stop(12.0, 12.0 - 0.11 * distance, 0.11 * distance, slow),
        Stop(12.0, 12.0 - 0.11 * distance, 0.11 * distance, slow),
    )
    zeroed = outcome is Outcome.ZEROED
    metrics = {
        "time_to_zero_s": 4.92 if zeroed else NAN,
        "trip_mm": 12.0,
        "stop_distance_mm": distance,
        "overtravel_mm": distance + 0.5,
        "impact_speed_mm_s": 0.0,
        "slack_mm": 0.0 if zeroed else 1.4,
        "return_slack_mm": 0.0,
        "zero_error_mm": -0.41 if zeroed else NAN,
        "false_triggers": 0.0,
        "accepted_false_triggers": 0.0,
        "missed_triggers": 0.0,
        "peak_current_a": 6.8,
    }
    reason = "" if zeroed else "travelled further than the travel guard allows"
    return Run(
        0, index, outcome, reason, metrics, stops, fake_trace(), "nominal" if index is None else "anywhere"
    )


def fake_sensor(runs: int = 40) -> SensorView:
    """An invented omnipolar switch: one main lobe and a side lobe in which it would be made again."""
    x = np.linspace(-50.0, 640.0, 4000)
    middle = 6.2 * np.exp(-(((x - 8.0) / 6.0) ** 2)) - 1.1 * np.exp(-(((x - 24.0) / 7.0) ** 2))
    signal = np.abs(middle - 1.1 * np.exp(-(((x + 8.0) / 7.0) ** 2)))
    return SensorView(
        name="bottom",
        kind="magnet",
        quantity="flux density",
        unit="mT",
        x_mm=x,
        signal=signal,
        signal_low=0.86 * signal,
        signal_high=1.18 * signal,
        operate=3.0,
        release=2.4,
        trip_mm=13.08,
        release_mm=13.84,
        hysteresis_mm=0.76,
        window_mm=(2.9, 13.08),
        trip_band_mm=(12.1, 13.9),
        trip_zone_mm=(0.0, 13.9),
        zones_mm=((2.9, 13.08), (21.0, 27.0)),
        never_seen_share=0.0,
    )


def fake_ensemble(runs: int = 2000) -> Ensemble:
    """Invented spreads: most runs zero, a few stop themselves, one breaks a limit."""
    rng = np.random.default_rng(1)
    outcome = np.zeros(runs, np.int8)
    outcome[rng.choice(runs, 9, replace=False)] = Outcome.FAULTED
    outcome[17] = Outcome.UNSAFE
    overtravel = 8.7 + 1.1 * rng.standard_normal(runs) + rng.exponential(0.5, runs)
    overtravel[17] = 16.3
    zero = np.where(outcome == Outcome.FAULTED, np.nan, 0.3 * rng.standard_normal(runs) - 0.4)
    metrics = {
        "time_to_zero_s": np.where(outcome == Outcome.FAULTED, np.nan, 4.9 + rng.uniform(-0.4, 0.7, runs)),
        "overtravel_mm": overtravel,
        "zero_error_mm": zero,
        "slack_mm": np.zeros(runs),
    }
    return Ensemble(
        seed=0,
        metrics=metrics,
        outcome=outcome,
        reason=np.where(outcome == Outcome.FAULTED, Reason.TRAVEL_GUARD, Reason.NONE).astype(np.int16),
        start=(np.arange(runs) % len(Start)).astype(np.int8),
        moving_at_end=np.zeros(runs, dtype=bool),
        reason_texts={int(Reason.TRAVEL_GUARD): REASON_TEXT[Reason.TRAVEL_GUARD]},
    )
