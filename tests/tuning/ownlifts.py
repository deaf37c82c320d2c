"""Lifts with an own table to tune: the example with bad numbers, a small routine, the built-in one."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tuningcases import example_text, lift_of

sys.path.append(str(Path(__file__).parents[1] / "own"))

if TYPE_CHECKING:
    from homing.liftfile import Lift

EXAMPLE = Path(__file__).parents[2] / "examples" / "shelving_robot" / "own_routine.toml"
#: Far too fast, a slow approach that is none, a back-off within the string's stretch, a time-out too short.
BAD_NUMBERS = {
    "command = { speed_mm_s = -150 }": "command = { speed_mm_s = -600 }   # as fast as it goes",
    "{ speed_mm_s = -30 }": "{ speed_mm_s = -200 }",
    "released_by_mm = 10": "released_by_mm = 1",
    "in_phase_s = 9": "in_phase_s = 2",
}
#: Down until made, stop, zero at the edge; one of each number that a row can ask for on its way.
SMALL = """
[routine]
sensor = "bottom"

[[routine.phase]]
name = "idle"
role = "start"
command = "stop"

[[routine.phase]]
name = "up"
command = { speed_mm_s = 60 }

[[routine.phase]]
name = "down"
command = { speed_mm_s = -60 }

[[routine.phase]]
name = "rest"
command = { stop = "hold" }

[[routine.phase]]
name = "home"
role = "zeroed"
command = "stop"

[[routine.phase]]
name = "off"
role = "faulted"
command = { stop = "shorted" }

[[routine.row]]
from = "idle"
when = ["start_requested"]
to = "up"

[[routine.row]]
from = "up"
when = [{ moved_out_mm = 50 }]
to = "down"

[[routine.row]]
from = "up"
when = [{ moved_out_mm = 60 }]
to = "off"

[[routine.row]]
from = "down"
when = [{ made_times = 3 }]
to = "rest"
do = ["capture_edge"]

[[routine.row]]
from = "down"
when = [{ moved_mm = 700 }]
to = "off"

[[routine.row]]
from = "down"
when = [{ in_phase_s = 12 }]
to = "off"

[[routine.row]]
from = "rest"
when = [{ in_phase_s = 12 }]
to = "off"

[[routine.row]]
from = "rest"
when = [{ standstill_ms = 100 }, { made_times = 3 }]
unless = [{ below_mm = 5 }]
to = "home"
do = ["zero_at_edge"]

[[routine.row]]
from = "rest"
when = [{ standstill_ms = 100 }, { not_made_times = 3 }]
to = "up"
"""


def own_text(changes: dict[str, str] | None = None) -> str:
    """The example's text with some of it changed."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in (changes or {}).items():
        assert old in text
        text = text.replace(old, new)
    return text


def small_text(changes: dict[str, str] | None = None) -> str:
    """The built-in example's lift with the small routine, some of it changed."""
    head, _, rest = example_text().partition("[routine]")
    routine = SMALL
    for old, new in (changes or {}).items():
        assert old in routine
        routine = routine.replace(old, new)
    return head + routine + rest[rest.index("[requirements]") :]


def small_lift(changes: dict[str, str] | None = None) -> Lift:
    return lift_of(small_text(changes), "small.toml")


def written_out(text: str) -> Lift:
    """The lift of a text, with the built-in sequence written out as an own table."""
    from own_files import with_own_table

    from homing.assembly import assemble
    from homing.liftfile import parse
    from homing.setting import prepare

    table = prepare(lift_of(text)).table
    return assemble(with_own_table(parse(text, "own.toml"), table), "own.toml")
