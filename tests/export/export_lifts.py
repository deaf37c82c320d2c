"""Lifts whose routines are exported in the tests: every example, and what else a lift file may ask for."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from homing.assembly import assemble
from homing.liftfile import Lift, load_lift
from homing.setting import Setting, prepare
from homing.starter import starter_text

EXAMPLES = Path(__file__).parents[2] / "examples" / "shelving_robot"

#: Sections that replace those of the built-in example: a belt that feels for its hard stop.
STALL: dict[str, Any] = {
    "sensor": [{"kind": "stall", "name": "stop", "mount_mm": 0}],
    "tolerances": {"lift.friction_n": "30%"},
}

#: A small routine of a team's own: conditions and effects that the built-in one does not use.
OWN = """
[[routine.phase]]
name = "idle"
role = "start"
command = "stop"
why = "wait for the button"
[[routine.phase]]
name = "class"
command = { speed_mm_s = 40.0 }
why = "out first; its name is a keyword"
[[routine.phase]]
name = "down"
command = { speed_mm_s = -120 }
[[routine.phase]]
name = "rest"
role = "stopped"
command = { stop = "shorted" }
[[routine.phase]]
name = "home"
role = "zeroed"
command = "stop"
[[routine.phase]]
name = "broken"
role = "faulted"
command = { stop = "open" }

[[routine.row]]
from = "idle"
when = ["start_requested"]
to = "class"
do = ["forget_zero", "forget_retries"]
[[routine.row]]
from = "class"
when = [{ counts_faster_than_mm_s = 2000 }]
to = "broken"
why = 'jumped "far" \\ away */'
[[routine.row]]
from = "class"
when = ["not_made", { moved_out_mm = 20 }]
to = "down"
[[routine.row]]
from = "class"
when = [{ moved_out_mm = 200 }]
to = "broken"
[[routine.row]]
from = "down"
when = [{ made_above_mm = 60 }]
to = "broken"
why = "made where it cannot be"
[[routine.row]]
from = "down"
when = ["just_made"]
to = "rest"
do = ["capture_edge", "count_retry"]
[[routine.row]]
from = "down"
when = [{ moved_in_mm = 700 }]
to = "broken"
[[routine.row]]
from = "down"
when = [{ not_moving_ms = 400 }]
unless = [{ retries_used = 3 }]
to = "class"
do = ["count_retry", "keep_clocks"]
[[routine.row]]
from = "down"
when = [{ in_phase_s = 6 }]
to = "broken"
[[routine.row]]
from = "rest"
when = [{ standstill_ms = 120 }, { made_times = 2 }]
unless = ["edge_read_late"]
to = "home"
do = ["zero_at_edge"]
[[routine.row]]
from = "rest"
when = ["just_released"]
unless = [{ retries_used = 3 }]
to = "class"
do = ["keep_edge"]
[[routine.row]]
from = "rest"
when = [{ in_phase_s = 1 }]
to = "home"
do = ["zero_here"]
"""


def with_stall() -> Lift:
    """A belt drive without an end sensor."""
    given = load_lift().given
    drive = {key: value for key, value in given["drive"].items() if key != "spool_diameter_mm"}
    belt = {**drive, "kind": "belt", "pulley_diameter_mm": 38, "travel_per_line": 1, "gear_ratio": 13}
    routine = {key: value for key, value in given["routine"].items() if key != "sensor"}
    rest = {name: table for name, table in given.items() if name != "string"}
    return assemble({**rest, "drive": belt, "routine": routine, **STALL}, "belt.toml")


def with_own_routine() -> Lift:
    """The built-in example with a routine of its own."""
    return assemble({**load_lift().given, **tomllib.loads(OWN)}, "own.toml")


@cache
def lifts() -> dict[str, Lift]:
    """Every lift by a short name."""
    plain = load_lift()
    return {
        "example": plain,
        "starter": assemble(tomllib.loads(starter_text()), "starter.toml"),
        **{file.stem: load_lift(file) for file in sorted(EXAMPLES.glob("*.toml"))},
        "once": plain.replace({"routine.recheck": False, "routine.stop": "shorted"}),
        "referenced": plain.replace({"routine.referenced_at_start": True}),
        "duty": plain.replace({"drive.command": "duty"}),
        "stall": with_stall(),
        "own": with_own_routine(),
    }


@cache
def settings() -> dict[str, Setting]:
    """A study of each."""
    return {name: prepare(lift, seed=5) for name, lift in lifts().items()}
