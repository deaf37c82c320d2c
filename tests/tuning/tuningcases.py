"""Lifts to tune and a search cut short, shared by the tests of this folder."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: A deliberately bad start: far too fast, slow speed that is none, guards that stop healthy runs.
BAD = {
    "fast_speed_mm_s = 180": "fast_speed_mm_s = 600    # as fast as it goes",
    "creep_speed_mm_s = 30": "creep_speed_mm_s = 150",
    "back_off_mm = 10": "back_off_mm = 1",
    "settle_ms = 120": "settle_ms = 20\nno_motion_ms = 60",
    "timeout_s = 8": "timeout_s = 1",
}
#: A time that no settings reach.
HOPELESS = {"time_to_zero_s = 11.0": "time_to_zero_s = 1.0"}


def example_text(changes: dict[str, str] | None = None) -> str:
    """The built-in example's text with some lines changed."""
    text = files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    for old, new in (changes or {}).items():
        assert old in text
        text = text.replace(old, new)
    return text


def lift_of(text: str, source: str = "lift.toml") -> Lift:
    from homing.assembly import assemble
    from homing.liftfile import parse

    return assemble(parse(text, source), source)


def cut_short(patch: pytest.MonkeyPatch) -> None:
    """Fewer runs and trials everywhere; the same code."""
    patch.setattr("homing.tuning.search.SAMPLE_POWER", 3)
    patch.setattr("homing.tuning.search.POPULATION", 8)
    patch.setattr("homing.tuning.study.SEARCH_RUNS", 128)
    patch.setattr("homing.tuning.choice.FRONT_RUNS", 256)
    patch.setattr("homing.tuning.choice.FRONT_POINTS", 2)
    patch.setattr("homing.tuning.choice.TOP_POINTS", 2)
    patch.setattr("homing.tuning.needs.TRACED_RUNS", 64)
    patch.setattr("homing.tuning.drift.DRIFT_RUNS", 64)
    patch.setattr("homing.tuning.drift.RATIOS", (1.5, 3.0))


def without_faults(patch: pytest.MonkeyPatch) -> None:
    """No fault runs, where a test does not look at them."""
    for module in ("proof", "choice"):
        patch.setattr(f"homing.tuning.{module}.unsafe_shares", lambda setting, pool: (("none", 0.0),))
