"""What a routine remembers and does in a loop, once, in a language of its own: plain assignments and ``if``.

The text is a small part of Python that ``language.py`` reads with ``ast`` and writes in every language that
is exported: ``s.NAME`` is what the routine remembers, capitals are constants, ``a`` is the number of a
condition. It says the same as ``homing.kernel.observe``, with the same operations in the same order, so
that every language gets the same bits; tests hold it against the kernel. No sum has a product for a
term, so that a compiler which fuses multiplication and addition changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from homing.kernel.codes import Condition, Effect


class Type(Enum):
    """Type of something remembered."""

    REAL = "real"
    WHOLE = "whole"
    TRUTH = "truth"


@dataclass(frozen=True)
class Field:
    """One thing remembered between loops; ``first`` is its value after a reset, in the neutral language."""

    name: str
    type: Type
    first: str
    means: str


MEMORY: tuple[Field, ...] = (
    Field("began_s", Type.REAL, "time_s", "time of the reset; all other times count from it"),
    Field("now_s", Type.REAL, "-1.0", "time of this loop"),
    Field("before_s", Type.REAL, "-1.0", "time of the loop before"),
    Field("counts", Type.WHOLE, "counts", "counts of this loop"),
    Field("counts_before", Type.WHOLE, "counts", "counts of the loop before"),
    Field("made", Type.TRUTH, "False", "reading of this loop"),
    Field("made_before", Type.TRUTH, "False", "reading of the loop before"),
    Field("made_run", Type.WHOLE, "0", "readings made in a row"),
    Field("clear_run", Type.WHOLE, "0", "readings not made in a row"),
    Field("last_made_counts", Type.WHOLE, "counts", "counts at the last made reading of this phase"),
    Field("still_counts", Type.WHOLE, "counts", "counts at which it stands"),
    Field("still_since_s", Type.REAL, "0.0", "since when it stands"),
    Field("entered_s", Type.REAL, "0.0", "when this phase began"),
    Field("entry_counts", Type.WHOLE, "counts", "counts at which this phase began"),
    Field("long_loop", Type.TRUTH, "False", "this loop was overlong"),
    Field("edge_counts", Type.REAL, "0.0", "captured edge"),
    Field("kept_edge_counts", Type.REAL, "0.0", "edge kept to compare with"),
    Field("edge_long", Type.TRUTH, "False", "the edge was captured across an overlong loop"),
    Field("zero_known", Type.TRUTH, "False", "a zero has been declared"),
    Field("zero_counts", Type.REAL, "float(counts)", "counts of the reference height"),
    Field("retries", Type.WHOLE, "0", "retries counted"),
    Field("start_requested", Type.TRUTH, "False", "a start is requested and not yet used up"),
    Field("start_before", Type.TRUTH, "False", "start input of the loop before"),
    Field("way", Type.WHOLE, "0", "direction told: -1 inwards, 1 outwards, 0 stop"),
    Field("stall_made", Type.TRUTH, "False", "the hard stop is felt"),
)

#: The reading of a sensor, and of a hard stop that is itself the sensor.
READ_SENSOR = "s.made = reading"
READ_STALL = """
if s.way > 0:
    s.stall_made = False
elif s.way < 0 and s.now_s - max(s.still_since_s, s.entered_s) >= NO_MOTION_S:
    s.stall_made = True
s.made = s.stall_made
"""

#: Every loop, after the reading: what follows from time, counts and reading. A held button is one request.
NOTE = """
if start and not s.start_before:
    s.start_requested = True
s.start_before = start
s.before_s = s.now_s
s.now_s = time_s - s.began_s
s.counts_before = s.counts
s.counts = counts
s.long_loop = s.now_s - s.before_s > LONG_LOOP_S
s.made_before = s.made_run > 0
if s.made:
    s.made_run += 1
    s.clear_run = 0
    s.last_made_counts = counts
else:
    s.clear_run += 1
    s.made_run = 0
if abs(counts - s.still_counts) > FLICKER_COUNTS:
    s.still_counts = counts
    s.still_since_s = s.now_s
"""

#: Values that several conditions share.
SHARED: dict[str, str] = {
    "moved_m": "float(s.counts - s.entry_counts) / COUNTS_PER_M",
    "height_m": "(float(s.counts) - s.zero_counts) / COUNTS_PER_M + REFERENCE_M",
}

CONDITIONS: dict[Condition, str] = {
    Condition.START: "s.start_requested",
    Condition.MADE: "s.made",
    Condition.MADE_RUN: "float(s.made_run) >= a",
    Condition.CLEAR_RUN: "float(s.clear_run) >= a",
    Condition.CLEAR_BY: "not s.made and float(s.counts - s.last_made_counts) / COUNTS_PER_M >= a",
    Condition.STANDSTILL: "s.now_s - s.still_since_s >= a and s.now_s - s.entered_s >= a",
    Condition.TIMER_OVER: "s.now_s - s.entered_s > a",
    Condition.MOVED: "abs(moved_m) > a",
    Condition.MOVED_OUT: "moved_m >= a",
    Condition.NOT_MOVING: "s.way != 0 and s.now_s - s.still_since_s >= a and s.now_s - s.entered_s >= a",
    Condition.WRONG_WAY: "moved_m * float(s.way) < -a",
    Condition.REFERENCED: "s.zero_known",
    Condition.BELOW: "s.zero_known and height_m < a",
    Condition.ABOVE: "s.zero_known and height_m > a",
    Condition.JUMPED: "float(abs(s.counts - s.counts_before)) / COUNTS_PER_M > a * (s.now_s - s.before_s)"
    " and s.before_s >= 0.0",
    Condition.EDGE_LONG_LOOP: "s.edge_long",
    Condition.RETRIES_USED: "float(s.retries) >= a",
    Condition.EDGES_AGREE: "abs(s.edge_counts - s.kept_edge_counts) / COUNTS_PER_M <= a",
    Condition.JUST_MADE: "s.made and not s.made_before",
    Condition.JUST_RELEASED: "not s.made and s.made_before",
    Condition.MOVED_IN: "-moved_m >= a",
    Condition.MADE_ABOVE: "s.made and s.zero_known and height_m > a",
}

#: Effects of a row in the order in which they are done; ``KEEP_CLOCKS`` is how the phase is entered.
EFFECTS: dict[Effect, str] = {
    Effect.KEEP_EDGE: "s.kept_edge_counts = s.edge_counts",
    Effect.CAPTURE_EDGE: "s.edge_counts = 0.5 * float(s.counts + s.counts_before)\ns.edge_long = s.long_loop",
    Effect.SET_ZERO: "s.zero_counts = s.edge_counts\ns.zero_known = True",
    Effect.ZERO_HERE: "s.zero_counts = float(s.counts)\ns.zero_known = True",
    Effect.FORGET_ZERO: "s.zero_known = False",
    Effect.COUNT_RETRY: "s.retries += 1",
    Effect.FORGET_RETRIES: "s.retries = 0",
}

#: A row that asks for a start uses it up.
USE_START = "s.start_requested = False"

#: Clock, distance and stillness of a phase begin with it.
RESTART_CLOCKS = """
s.entered_s = s.now_s
s.entry_counts = s.counts
s.last_made_counts = s.counts
s.still_counts = s.counts
s.still_since_s = s.now_s
"""
