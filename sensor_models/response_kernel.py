"""Compiled look-up in a tabulated response curve, and the search for its main window.

A table is one row of N_FINE + N_COARSE samples on two even grids (``mounting.Grid``): the fine part
is read by Catmull-Rom cubics (its first and last step have no neighbour and do not count), the rest
of the travel by straight lines. Outside the coarse grid the last sample holds. The table keeps the
sign of the signal; a two-sided switch compares the size of what is read from it.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TypeAlias

from sensor_models.compiled import compiler
from sensor_models.kinds import Floats

compiled = compiler(Path(__file__))

N_FINE = 256
N_COARSE = 96

#: Bisections of one grid step: 2^-40 of a step is far below any other error.
HALVINGS = 40

#: Fine low, fine step, coarse low, coarse step [m].
Steps: TypeAlias = tuple[float, float, float, float]


@compiled
def look_up(row: Floats, steps: Steps, x_m: float) -> float:
    """Return the signal at height x_m [m] from one row of the table."""
    place = (x_m - steps[0]) / steps[1]
    if 1.0 <= place < N_FINE - 2.0:
        i = int(place)
        t = place - i
        a, b, c, d = row[i - 1], row[i], row[i + 1], row[i + 2]
        cubic: float = b + 0.5 * t * (
            c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))
        )
        return cubic
    place = min(max((x_m - steps[2]) / steps[3], 0.0), N_COARSE - 1.0)
    i = min(int(place), N_COARSE - 2)
    t = place - i
    line: float = (1.0 - t) * row[N_FINE + i] + t * row[N_FINE + i + 1]
    return line


@compiled
def look_up_many(row: Floats, steps: Steps, x_m: Floats, signal: Floats) -> None:
    """Write the signal at heights x_m (m,) [m] into ``signal`` (m,)."""
    for i in range(x_m.shape[0]):
        signal[i] = look_up(row, steps, x_m[i])


@compiled
def _cross(row: Floats, steps: Steps, sign: float, weak_m: float, strong_m: float, level: float) -> float:
    """Height between weak_m (signal under the level) and strong_m (not under it) where it is reached."""
    for _ in range(HALVINGS):
        middle = 0.5 * (weak_m + strong_m)
        if sign * look_up(row, steps, middle) < level:
            weak_m = middle
        else:
            strong_m = middle
    return strong_m


@compiled
def _last_above(
    row: Floats, steps: Steps, sign: float, x_m: Floats, start: int, way: int, level: float
) -> tuple[int, float]:
    """Last sample on the way from ``start`` before the signal falls to ``level``, and the height of that.

    The height is infinite if it never falls so far.
    """
    i = start
    while 0 <= i + way < x_m.shape[0]:
        if sign * look_up(row, steps, x_m[i + way]) <= level:
            return i, _cross(row, steps, sign, x_m[i + way], x_m[i], level)
        i += way
    return i, way * math.inf


@compiled
def _strongest(row: Floats, steps: Steps, two_sided: bool, x_m: Floats, first: int, last: int) -> int:
    """Sample of the strongest signal from ``first`` up to, not with, ``last``."""
    peak, best = first, -math.inf
    for i in range(first, last):
        signal = look_up(row, steps, x_m[i])
        strength = abs(signal) if two_sided else signal
        if strength > best:
            peak, best = i, strength
    return peak


@compiled
def find_windows(
    table: Floats,
    steps: Steps,
    two_sided: bool,
    x_m: Floats,
    first: int,
    last: int,
    operate: Floats,
    release: Floats,
    found_m: Floats,
) -> None:
    """Write trip, release and lower end of the main window of every row into found_m (n, 3) [m].

    ``x_m`` are the heights of the samples in rising order; the strongest one from ``first`` up to
    ``last`` picks the window. NaN where it stays under the operate threshold.
    """
    for run in range(table.shape[0]):
        row, level = table[run], operate[run]
        peak = _strongest(row, steps, two_sided, x_m, first, last)
        # A two-sided switch lets go before the signal changes sign: in its window the sign is the peak's.
        sign = -1.0 if two_sided and look_up(row, steps, x_m[peak]) < 0.0 else 1.0
        found_m[run, :] = math.nan
        if sign * look_up(row, steps, x_m[peak]) >= level:
            top, found_m[run, 1] = _last_above(row, steps, sign, x_m, peak, 1, release[run])
            _, found_m[run, 2] = _last_above(row, steps, sign, x_m, peak, -1, release[run])
            # Between release and operate the signal may fall and rise again: the highest place trips.
            while sign * look_up(row, steps, x_m[top]) < level:
                top -= 1
            found_m[run, 0] = math.inf
            if top + 1 < x_m.shape[0]:
                found_m[run, 0] = _cross(row, steps, sign, x_m[top + 1], x_m[top], level)
