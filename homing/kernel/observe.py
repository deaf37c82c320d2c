"""From readings and counts to condition bits, and from bits to the row that is taken.

``observe`` is shared by the kernel, by the state machine built from the same table, and by replay:
it looks only at what a controller has, a reading, counts and its own clock.
"""

from __future__ import annotations

from typing import Any

from homing.kernel.build import compiled
from homing.kernel.codes import Condition, Effect

#: A loop longer than this many nominal periods is overlong.
LONG_LOOP = 1.5
#: Counts that flicker by this much still stand.
FLICKER_COUNTS = 1


@compiled
def take_note(run: Any, memory: Any, t: float, counts: int, made: int) -> None:
    """Store this loop's reading and counts and what follows from the last ones."""
    memory.previous_tick_s, memory.tick_s = memory.tick_s, t
    memory.previous_counts, memory.counts = memory.counts, counts
    memory.made = made
    memory.long_loop = 1 if t - memory.previous_tick_s > LONG_LOOP * run.period_s else 0
    memory.made_before = 1 if memory.made_run > 0 else 0
    if made == 1:
        memory.made_run += 1
        memory.clear_run = 0
        memory.last_made_counts = counts
    else:
        memory.clear_run += 1
        memory.made_run = 0
    if abs(counts - memory.still_counts) > FLICKER_COUNTS:
        memory.still_counts = counts
        memory.still_since_s = t


@compiled
def declared_height(run: Any, memory: Any, counts: float) -> float:
    """Spool height that the routine believes in, from its declared zero [m]."""
    return float((counts - memory.zero_counts) / run.counts_per_m + run.reference_m)


@compiled
def jumped(run: Any, memory: Any, speed_m_s: float) -> bool:
    """Counts changed further than ``speed_m_s`` allows in the time since the last loop."""
    moved = abs(memory.counts - memory.previous_counts) / run.counts_per_m
    return bool(
        moved > speed_m_s * (memory.tick_s - memory.previous_tick_s) and memory.previous_tick_s >= 0.0
    )


@compiled
def holds_of_own_tables(run: Any, memory: Any, kind: int, a: float, moved_m: float) -> bool:
    """Conditions that the built-in table does not ask."""
    if kind == Condition.JUST_MADE:
        return bool(memory.made == 1 and memory.made_before == 0)
    if kind == Condition.JUST_RELEASED:
        return bool(memory.made == 0 and memory.made_before == 1)
    if kind == Condition.MOVED_IN:
        return bool(-moved_m >= a)
    if kind == Condition.MADE_ABOVE:
        high = memory.has_zero == 1 and declared_height(run, memory, memory.counts) > a
        return bool(memory.made == 1 and high)
    return False


@compiled
def holds(run: Any, memory: Any, kind: int, a: float) -> bool:
    """Whether one condition holds now."""
    t, counts = memory.tick_s, memory.counts
    moved_m = (counts - memory.entry_counts) / run.counts_per_m
    if kind == Condition.START:
        return bool(memory.start_requested == 1)
    if kind == Condition.MADE:
        return bool(memory.made == 1)
    if kind == Condition.MADE_RUN:
        return bool(memory.made_run >= a)
    if kind == Condition.CLEAR_RUN:
        return bool(memory.clear_run >= a)
    if kind == Condition.CLEAR_BY:
        return bool(memory.made == 0 and (counts - memory.last_made_counts) / run.counts_per_m >= a)
    if kind == Condition.STANDSTILL:
        return bool(t - memory.still_since_s >= a and t - memory.entered_s >= a)
    if kind == Condition.TIMER_OVER:
        return bool(t - memory.entered_s > a)
    if kind == Condition.MOVED:
        return bool(abs(moved_m) > a)
    if kind == Condition.MOVED_OUT:
        return bool(moved_m >= a)
    if kind == Condition.NOT_MOVING:
        return bool(memory.way != 0 and t - memory.still_since_s >= a and t - memory.entered_s >= a)
    if kind == Condition.WRONG_WAY:
        return bool(moved_m * memory.way < -a)
    if kind == Condition.REFERENCED:
        return bool(memory.has_zero == 1)
    if kind == Condition.BELOW:
        return bool(memory.has_zero == 1 and declared_height(run, memory, counts) < a)
    if kind == Condition.ABOVE:
        return bool(memory.has_zero == 1 and declared_height(run, memory, counts) > a)
    if kind == Condition.JUMPED:
        return jumped(run, memory, a)
    if kind == Condition.EDGE_LONG_LOOP:
        return bool(memory.edge_long == 1)
    if kind == Condition.RETRIES_USED:
        return bool(memory.retries >= a)
    if kind == Condition.EDGES_AGREE:
        return bool(abs(memory.edge_counts - memory.kept_edge_counts) / run.counts_per_m <= a)
    return holds_of_own_tables(run, memory, kind, a, moved_m)


@compiled
def observe(run: Any, memory: Any, needs: int, kinds: Any, parameters: Any) -> int:
    """Bits of the conditions that hold; only those in ``needs`` are looked at."""
    bits = 0
    for i in range(len(kinds)):
        if (needs >> i) & 1 and holds(run, memory, kinds[i], parameters[i]):
            bits |= 1 << i
    return bits


@compiled
def choose_row(rows: Any, first_row: Any, phase: int, bits: int) -> int:
    """First row of the phase whose required bits hold and whose forbidden bits do not; -1 if none."""
    for i in range(first_row[phase], first_row[phase + 1]):
        if (rows[i, 1] & ~bits) == 0 and (rows[i, 2] & bits) == 0:
            return i
    return -1


@compiled
def enter(memory: Any, phase: int, way: int, effects: int = 0) -> None:
    """Begin a phase: its timer, its distance and its no-motion clock start anew, unless they are kept."""
    memory.phase = phase
    memory.way = way
    if effects & Effect.KEEP_CLOCKS:
        return
    memory.entered_s = memory.tick_s
    memory.entry_counts = memory.counts
    memory.last_made_counts = memory.counts
    memory.still_counts = memory.counts
    memory.still_since_s = memory.tick_s


@compiled
def apply_effects(memory: Any, effects: int) -> None:
    """Effects of the row taken; the edge is taken midway between this loop's counts and the last's."""
    if effects & Effect.KEEP_EDGE:
        memory.kept_edge_counts = memory.edge_counts
    if effects & Effect.CAPTURE_EDGE:
        memory.edge_counts = 0.5 * (memory.counts + memory.previous_counts)
        memory.edge_long = memory.long_loop
    if effects & Effect.SET_ZERO:
        memory.zero_counts = memory.edge_counts
        memory.has_zero = 1
    if effects & Effect.ZERO_HERE:
        memory.zero_counts = memory.counts
        memory.has_zero = 1
    if effects & Effect.FORGET_ZERO:
        memory.has_zero = 0
    if effects & Effect.COUNT_RETRY:
        memory.retries += 1
    if effects & Effect.FORGET_RETRIES:
        memory.retries = 0
