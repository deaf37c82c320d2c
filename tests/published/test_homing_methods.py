"""The built-in sequence beside the homing methods of the standard drive profile.

Source: ``homing_methods_drive_profile.toml``, which also says which method comes nearest and how it differs.
"""

from __future__ import annotations

import tomllib
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from homing.liftfile import load_lift
from homing.results import Run
from homing.routine import Role
from homing.setting import prepare
from homing.simulate import simulate

SOURCE = tomllib.loads(
    (Path(__file__).parent / "homing_methods_drive_profile.toml").read_text(encoding="utf-8")
)
METHODS: dict[int, Any] = {method["number"]: method for method in SOURCE["method"]}
OURS = SOURCE["ours"]
SENSOR = "reading_bottom"


def run_from(start_mm: float) -> Run:
    return simulate(load_lift(None).replace({"lift.start_mm": start_mm}))


def actions(run: Run) -> list[str]:
    """What a run did in the words of the data file, until it stood on the edge for the first time."""
    lift = load_lift(None)
    table, fast = prepare(lift).table, lift.routine.fast_speed_mm_s / 1000
    found: list[str] = []
    for name, rows in groupby(
        zip(run.trace["state"], run.trace[SENSOR], strict=True), key=lambda row: row[0]
    ):
        if name == "settling":
            break
        phase, made = table.phase(str(name)), [bool(row[1]) for row in rows]
        if phase.role is not Role.MOVING:
            continue
        inwards = phase.command.value < 0
        speed = "fast" if abs(phase.command.value) == pytest.approx(fast) else "slow"
        found.append(f"{'in' if inwards else 'out'} {speed}")
        if inwards and made[-1]:
            found.append("made")
        elif not inwards and made[0] and not made[-1]:
            found.append("released")
    return found


def test_sequence_from_above_is_the_one_compared() -> None:
    run = run_from(320.0)
    assert run.outcome.word == "zeroed"
    assert actions(run) == OURS["first"] + OURS["started_off"]


def test_sequence_from_the_sensor_is_the_one_compared() -> None:
    run = run_from(12.0)
    assert run.outcome.word == "zeroed"
    assert actions(run) == OURS["started_on"]


def test_edge_is_referenced_on_make_coming_in() -> None:
    run = run_from(320.0)
    creeping = np.flatnonzero(run.trace["state"] == "creeping_again")
    edge = creeping[-1]
    assert run.trace[SENSOR][edge] == 1
    assert not np.any(run.trace[SENSOR][creeping[1:-1]])
    assert run.trace["carriage_mm_s"][edge] < 0
    assert OURS["references_on"] == "make"
    assert OURS["last_direction"] == "in"


def test_nearest_method_begins_as_ours_and_references_on_release() -> None:
    def shared(method: dict[str, Any]) -> int:
        """Leading actions in common, from both kinds of start."""
        return sum(
            next(
                (n for n, (a, b) in enumerate(zip(method[key], OURS[key], strict=False)) if a != b),
                len(method[key]),
            )
            for key in ("started_off", "started_on")
        )

    limits = [method for method in METHODS.values() if method["switch"] == "retracted limit"]
    nearest = METHODS[SOURCE["nearest"]]
    assert nearest in limits
    assert shared(nearest) == max(map(shared, METHODS.values())) == 6
    assert nearest["references_on"] == "release"
    assert nearest["last_direction"] == "out"


def test_file_says_where_it_comes_from() -> None:
    assert SOURCE["obtained"] in {"read", "computed", "from memory"}
    for key in ("title", "publisher", "place", "tolerance_reason", "statement"):
        assert SOURCE[key].strip(), key
