"""What must hold for any lift and any run number: the same again, sums, signs, and what follows from what."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from homing.ensemble import as_ensemble, run_many
from homing.faults import FaultPlan, run_numbers
from homing.kernel.layout import RESULT_COLUMNS
from homing.liftfile import Lift, load_lift
from homing.measures import outcomes
from homing.results import METRICS, Outcome, Run
from homing.setting import Setting, prepare
from homing.simulate import run_block, simulate

#: Lifts far off the example, in the units of the file: heavy and light, quick and slow, tight and loose.
RANGES: dict[str, tuple[float, float]] = {
    "lift.moving_mass_kg": (0.3, 6.0),
    "lift.friction_n": (0.05, 12.0),
    "lift.incline_deg": (40.0, 90.0),
    "drive.gear_ratio": (8.0, 40.0),
    "drive.spool_diameter_mm": (20.0, 60.0),
    "drive.speed_loop_time_constant_ms": (10.0, 80.0),
    "string.stiffness_n_per_mm": (1.0, 60.0),
    "string.spare_line_mm": (5.0, 200.0),
    "stop.restitution": (0.05, 1.0),
    "controller.period_ms": (5.0, 40.0),
    "controller.late_loop_probability": (0.0, 0.05),
    "controller.sensor_latency_ms": (0.0, 45.0),
    "controller.drive_latency_ms": (0.0, 45.0),
    "sensor.bottom.mount_mm": (-10.0, 40.0),
    "routine.fast_speed_mm_s": (40.0, 600.0),
    "routine.creep_speed_mm_s": (10.0, 60.0),
}
#: Every number of a file is exact to some digits; so are these.
LIFTS = st.fixed_dictionaries(
    {key: st.floats(*ends).map(lambda x: round(x, 3)) for key, ends in RANGES.items()}
)
NUMBERS = st.integers(0, 10**6)


@cache
def example() -> Setting:
    return prepare(load_lift(), seed=7)


def lift_of(numbers: dict[str, float]) -> Lift:
    tied = {"lift.static_friction_n": numbers["lift.friction_n"], "drive.motors": 2}
    return load_lift().replace({**numbers, **tied})


def bits(run: Run) -> list[bytes]:
    return [column.tobytes() for column in run.trace.columns.values()]


@settings(max_examples=15)
@given(LIFTS, NUMBERS, st.integers(0, 2**63 - 1))
def test_the_same_seed_gives_the_same_run_bit_for_bit(numbers: dict[str, float], run: int, seed: int) -> None:
    lift = lift_of(numbers)
    first, second = (simulate(lift, seed=seed, run=run) for _ in range(2))
    assert bits(first) == bits(second)
    assert repr(first.metrics) == repr(second.metrics)


@settings(max_examples=15)
@given(st.lists(NUMBERS, min_size=1, max_size=40, unique=True), st.randoms())
def test_a_run_does_not_depend_on_its_company(numbers: list[int], random) -> None:  # type: ignore[no-untyped-def]
    mixed = numbers.copy()
    random.shuffle(mixed)
    there, here = (run_block(example(), np.array(each, dtype=np.int64)) for each in (numbers, mixed))
    back = [mixed.index(number) for number in numbers]
    assert np.array_equal(there, here[back], equal_nan=True)


@settings(max_examples=10)
@given(NUMBERS)
def test_one_run_alone_is_its_row_of_the_ensemble(number: int) -> None:
    numbers = np.arange(number - number % 8, number - number % 8 + 8)
    row = as_ensemble(example(), numbers, run_many(example(), numbers, workers=1))
    alone = simulate(example().lift, run=number, setting=example())
    for name in METRICS:
        assert np.array_equal(row.metrics[name][number % 8], alone.metrics[name], equal_nan=True), name
    assert row.outcome[number % 8] == alone.outcome


@settings(max_examples=40)
@given(LIFTS, NUMBERS)
def test_what_a_run_says_of_itself_fits_together(numbers: dict[str, float], number: int) -> None:
    lift = lift_of(numbers)
    run = simulate(lift, run=number)
    found = run.metrics
    for stop in run.stops:
        assert sum(stop.budget_mm.values()) == pytest.approx(stop.distance_mm, abs=1e-9)
        assert stop.deepest_mm <= stop.trip_mm
    if run.stops:
        assert found["stop_distance_mm"] == pytest.approx(max(stop.distance_mm for stop in run.stops))
    zeroed = run.trace["state"][-1] == "zeroed"
    assert np.isnan(found["time_to_zero_s"]) != zeroed
    assert np.isnan(found["zero_error_mm"]) != zeroed
    assert (run.reason != "") == (run.trace["state"][-1] == "faulted")
    for name in ("slack_mm", "impact_speed_mm_s", "peak_current_a", "false_triggers", "missed_triggers"):
        assert found[name] >= 0.0, name
    assert found["accepted_false_triggers"] <= found["false_triggers"]
    assert found["slack_mm"] >= (run.trace["carriage_mm"] - run.trace["spool_mm"]).max() / 2 - 1e-9
    assert found["peak_current_a"] >= np.abs(run.trace["current_a"]).max() - 1e-9


@settings(max_examples=40)
@given(LIFTS, NUMBERS)
def test_the_carriage_stays_between_its_stops_and_nothing_runs_away(
    numbers: dict[str, float], number: int
) -> None:
    lift = lift_of(numbers)
    trace = simulate(lift, run=number).trace
    for name, column in trace.columns.items():
        assert name == "state" or np.isfinite(column).all(), name
    # a stop of K = 60 N/mm gives way by F / K to what presses on it (the string's pull, the weight) and by
    # v sqrt(m / K) to what strikes it; the trace shows only one instant a loop, hence a millimetre more
    fastest = np.abs(trace["carriage_mm_s"]).max()
    pressed_n = trace["string_n"].max() + lift.lift.weight_n
    depth_mm = 1.0 + pressed_n / 60.0 + fastest * np.sqrt(7.0 / 60e3)
    assert trace["carriage_mm"].min() > -depth_mm
    assert trace["carriage_mm"].max() < lift.lift.travel_mm + depth_mm
    assert np.all(np.diff(trace["t_s"]) > 0.0)
    assert trace["string_n"].min() >= 0.0


@settings(max_examples=25)
@given(
    share=st.floats(0.05, 1.0),
    wider=st.floats(1.0, 20.0),
    name=st.sampled_from(["overtravel_mm", "slack_mm", "impact_speed_mm_s", "zero_error_mm"]),
)
def test_a_wider_limit_never_makes_a_run_unsafe(share: float, wider: float, name: str) -> None:
    results = _some_results()
    tables = [
        example().lift.requirements.model_copy(update={name: share * size})
        for size in (
            getattr(example().lift.requirements, name),
            wider * getattr(example().lift.requirements, name),
        )
    ]
    tight, wide = (outcomes(results, _with(table)) for table in tables)
    assert np.all((wide != Outcome.UNSAFE) | (tight == Outcome.UNSAFE))
    assert np.array_equal(wide[tight != Outcome.UNSAFE], tight[tight != Outcome.UNSAFE])


@cache
def _some_results() -> np.ndarray:
    healthy = run_block(example(), np.arange(150))
    faulty = run_block(example(), run_numbers(example().lift, 8), FaultPlan())
    assert healthy.shape[1] == len(RESULT_COLUMNS)
    return np.concatenate([healthy, faulty])


def _with(table):  # type: ignore[no-untyped-def]
    from dataclasses import replace

    return replace(example().lift, requirements=table)
