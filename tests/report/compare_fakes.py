"""A comparison for tests of the reports: a real, very small study with INVENTED advice put on it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

from homing.compare.results import Comparison, MountAdvice, Term
from homing.compare.study import compare
from homing.liftfile import load_lift

FILE = Path(__file__).parents[2] / "examples" / "shelving_robot" / "compare_sensors.toml"


@cache
def small_comparison() -> Comparison:
    """The example file with runs too few to show anything: every kind, one never made, none that holds."""
    return compare(load_lift(FILE), runs=24)


def fake_advice(comparison: Comparison) -> MountAdvice:
    """Invented: mount it 3 mm higher."""
    best, nothing = comparison.best, math.nan
    return MountAdvice(
        sensor=best.name,
        speed_mm_s=150.0,
        lowest_mm=best.mount_mm - 2.0,
        highest_mm=best.mount_mm + 30.0,
        best_mm=best.mount_mm + 3.0,
        fastest_mm_s=260.0,
        formula_lowest_mm=9.0,
        formula_fastest_mm_s=270.0,
        terms=(
            Term("loop", "v x longest usual loop", 4.0),
            Term("braking", "v^2 / (2 a)", 6.0),
            Term("margin", "rest", 2.5),
        ),
        needed_mm=10.0,
        margin_at_best_mm=7.0,
        confirmed_runs=2000,
        needs_slow_zone_mm=nothing,
        slow_zone_speed_mm_s=nothing,
        blocking="impact_speed_mm_s",
        sentences=("Set it <higher> & be glad.", "On paper it needs 10 mm."),
    )


def advised_comparison() -> Comparison:
    """The small comparison with the invented advice."""
    found = small_comparison()
    return replace(found, advice=fake_advice(found))
