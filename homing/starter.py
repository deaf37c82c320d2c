"""What a newcomer is given: a commented starter lift file, and which columns to log on the robot."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Column:
    """One column worth logging; ``name`` is a header that ``downstop replay`` recognises by itself."""

    name: str
    unit: str
    needed: bool
    why: str


COLUMNS: tuple[Column, ...] = (
    Column("time_ms", "ms", True, "time stamp of this pass of the loop, from a clock that never jumps"),
    Column("counts", "counts", True, "raw encoder counts as read in this pass, before any reset or scaling"),
    Column(
        "command", "-1 to 1", False, "what was sent to the motor in this pass, below every limit and guard"
    ),
    Column("sensor", "0 or 1", False, "raw level of the end sensor as read in this pass, not debounced"),
    Column("battery_v", "V", False, "battery voltage; tells a supply dip from a fault of the sensor"),
    Column(
        "current_a",
        "A",
        False,
        "motor current; tells a jam from slack string. Leave it out if reading it is slow",
    ),
    Column("state", "text", False, "state of the routine in this pass"),
    Column("target", "counts", False, "where the lift is being sent, if it is sent to a place"),
)

_RATE = """\
How fast
  Write one row in every pass of the control loop that moves the lift, not on a timer of its own:
  the loop's own timing is part of what is looked for. Loops of 8 to 50 ms are usual. A log of
  10 rows a second can neither prove nor refute a bounce of 5 ms or a late loop of 60 ms.
  Keep rows in memory while the lift moves and write the file afterwards, since writing makes late loops.

What to record
  Two or three slow and five ordinary retractions from different heights, the battery fresh.
  One file per power-up, plain CSV with one header line. Nothing needs to be cleaned afterwards.
"""

_STUB = """\
Stub (plain pseudocode; put your own reads and writes in)
  rows = list with room for 20000 rows          # made before the match, not while moving
  every pass of the loop:
      now      = clock in ms                    # once, at the top of the pass
      counts   = read encoder                   # once; use this value for everything below
      sensor   = read end sensor                # raw level
      state    = routine state
      command  = decide(now, counts, sensor)    # your routine
      send command to the motor                 # the last write of the pass
      append (now, counts, command, sensor, battery, current, state, target) to rows
  when the lift rests:
      write "time_ms,counts,command,sensor,battery_v,current_a,state,target" and all rows
"""


def starter_text() -> str:
    """Return the commented starter lift file; the lift in it is invented."""
    return files("homing").joinpath("data", "starter.toml").read_text(encoding="utf-8")


def logging_advice() -> str:
    """Return which columns to log, how fast, and a logging stub."""
    lines = [
        "Columns to log (header, unit, why); the first two are needed, every other one answers more questions"
    ]
    for column in COLUMNS:
        mark = "*" if column.needed else " "
        lines.append(f"{mark} {column.name:<10} {column.unit:<8} {column.why}")
    read = (
        "Then: downstop replay LOG.csv --lift LIFT.toml, and downstop verify LIFT.toml --timing-from LOG.csv"
    )
    return "\n".join([*lines, "", _RATE, _STUB, read, ""])
