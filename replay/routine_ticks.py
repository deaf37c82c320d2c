"""The routine's table run along logged readings and counts: the kernel's own ``observe`` and rows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from homing.kernel import observe as kernel
from homing.kernel.controller import way_of
from homing.kernel.observe import apply_effects, choose_row, enter, observe, take_note
from sensor_models.compiled import compiler

compiled = compiler(*Path(kernel.__file__).parent.glob("*.py"), Path(__file__))

#: Columns of ``out`` of `run_along`: phase in which the row began, row of the table taken (-1: none), bits.
PHASE, TAKEN, BITS = range(3)


@compiled
def run_along(
    run: Any, memory: Any, table: Any, time_s: Any, counts: Any, made: Any, follow: int, out: Any
) -> None:
    """Run a table over rows of a log.

    Parameters
    ----------
    run : record ``RUN``; ``counts_per_m``, ``reference_m`` and ``period_s`` are used
    memory : record ``MEMORY`` as the routine stands before the first row
    table : arrays of a compiled table
    time_s, counts, made : (n,) float64 [s], int64, int64
    follow : 1: every row of the table is followed; 0: none is any more once one changed the direction of
        the command, so that the bits go on telling what the routine would see where it stands
    out : (n, 3) int64, filled; columns ``PHASE``, ``TAKEN``, ``BITS``
    """
    order, value, _, needs, first_row, rows, kinds, parameters = table
    every = (1 << len(kinds)) - 1
    following = 1
    for i in range(len(time_s)):
        take_note(run, memory, time_s[i], counts[i], made[i])
        phase = memory.phase
        bits = observe(run, memory, needs[phase] if follow == 1 else every, kinds, parameters)
        out[i, 0], out[i, 1], out[i, 2] = phase, -1, bits
        if following == 0:
            continue
        chosen = choose_row(rows, first_row, phase, bits)
        out[i, 1] = chosen
        if chosen >= 0:
            to, way = rows[chosen, 3], memory.way
            apply_effects(memory, rows[chosen, 4])
            enter(memory, to, way_of(order[to], value[to]))
            following = 1 if follow == 1 or memory.way == way else 0
