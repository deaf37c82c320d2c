"""``downstop fit --force-per-volt``: mass and friction of a drive whose command is a force or a voltage.

The flow: columns and period are checked, every stretch of the log is smoothed and differentiated
(``dynamics``), one linear problem is solved, and what the encoder and the sampling are is said with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.dynamics import CUTOFF_HZ, PARAMETERS, ForceFit, fit_force
from replay.fit_result import Z95
from replay.grid import Grid, grid_of
from replay.log import Log
from replay.units import Quantity, Role
from sensor_models.errors import InputError

Floats = NDArray[np.float64]
MM = 1e-3

#: Rows further than this share of a period from even stamps cannot be differentiated as they stand.
UNEVEN = 0.1
#: A period this close to a round one is the round one: quartz clocks are good to 1e-4.
CLOCK_SHARE = 1e-4
#: Smoothing passes this share of the sampling rate at most: beyond, a difference of rows is mostly noise.
CUTOFF_SHARE = 0.1
#: A condition number above this means that the motion hardly tells the numbers apart (own estimate: errors
#: are then widened a hundred times).
ILL_CONDITIONED = 100.0

#: Key, unit and remark of each of ``dynamics.PARAMETERS``.
KEYS: tuple[tuple[str, str, str], ...] = (
    ("lift.moving_mass_kg", "kg", "with everything that turns along, at the carriage"),
    ("lift.viscous_n_s_per_m", "N s/m", "with the motor's back-EMF, where the command is a voltage"),
    ("lift.friction_n", "N", "Coulomb, of carriage and drive together"),
    ("offset_n", "N", "force at rest: the weight along the travel, and the offset of the command"),
)


@dataclass(frozen=True)
class DirectFit:
    """A force fit with where it comes from; ``grid`` is None where the positions stand on no grid."""

    source: str
    fit: ForceFit
    force_per_volt: float
    period_s: float
    cutoff_hz: float
    grid: Grid | None
    rows: int

    @property
    def cautions(self) -> list[str]:
        """What must be known before the numbers are believed."""
        if self.fit.condition > ILL_CONDITIONED:
            return ["the motion hardly tells the numbers apart: log both directions at several speeds"]
        return []


def fit_direct(log: Log, force_per_volt: float, mm_per_count: float | None = None) -> DirectFit:
    """Fit a log whose command is a voltage, or a force where ``force_per_volt`` is 1.

    Parameters
    ----------
    log : Log
        With position and command, evenly sampled.
    force_per_volt : float
        Force at the carriage for a volt [N/V].
    mm_per_count : float, optional
        Scale, where the log has counts.

    Returns
    -------
    DirectFit

    Raises
    ------
    InputError
        When a column, the scale or even sampling is missing, or the motion tells nothing.
    """
    command, position_m = _columns(log, mm_per_count)
    first, last = _longest(log, command, position_m)
    part = slice(first, last)
    period_s = _period_s(log, log.time_s[part])
    cutoff_hz = min(CUTOFF_HZ, CUTOFF_SHARE / period_s)
    try:
        found = fit_force(position_m[part], force_per_volt * command[part], period_s, cutoff_hz=cutoff_hz)
    except ValueError as problem:
        raise InputError(f"must hold more motion; {problem}", file=log.source) from None
    grid = grid_of(position_m[part], log.time_s[part])
    return DirectFit(log.source, found, force_per_volt, period_s, cutoff_hz, grid, last - first)


def _columns(log: Log, mm_per_count: float | None) -> tuple[Floats, Floats]:
    if Role.COMMAND not in log:
        raise InputError('must hold the command (role "command", unit "V")', file=log.source)
    unit = log.unit(Role.COMMAND)
    if unit is None or unit.quantity is not Quantity.VOLTAGE:
        raise InputError(
            'must be a voltage for --force-per-volt: say unit = "V" in [log] (for a force in newtons too, '
            "with --force-per-volt 1)",
            file=log.source,
            key="log.command",
            got=None if unit is None else unit.word,
        )
    scale_mm = log.mm_per_count or mm_per_count
    if scale_mm is None:
        raise InputError(
            "must have a scale: give mm_per_count in [log], a lift file, or a position in mm or m",
            file=log.source,
        )
    return log[Role.COMMAND], log.counts * scale_mm * MM


def _longest(log: Log, command: Floats, position_m: Floats) -> tuple[int, int]:
    """Longest run of rows without holes, resets and steps back in time."""
    bad = ~(np.isfinite(command) & np.isfinite(position_m))
    cut = bad | np.concatenate([[True], bad[:-1]]) | (np.diff(log.time_s, prepend=log.time_s[0]) < 0.0)
    cut[log.breaks] = True
    edges = [*np.flatnonzero(cut).tolist(), len(cut)]
    pieces = [(a, b) for a, b in pairwise(edges) if not bad[a]]
    if not pieces:
        raise InputError("must hold readable positions and commands", file=log.source)
    return max(pieces, key=lambda piece: piece[1] - piece[0])


def _period_s(log: Log, time_s: Floats) -> float:
    """Sampling period; rows must be even."""
    if len(time_s) < 3:
        raise InputError("must hold more rows in one piece", file=log.source)
    period = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    off = time_s - (time_s[0] + period * np.arange(len(time_s)))
    worst = int(np.argmax(np.abs(off)))
    if not abs(off[worst]) <= UNEVEN * period:
        raise InputError(
            "must be evenly sampled for --force-per-volt, since speeds and accelerations are differences "
            f"of rows: one in {period * 1e3:.3g} ms, and none of them further off than a tenth of that",
            file=log.source,
            row=int(log.row[worst]),
            got=f"{abs(off[worst]) * 1e3:.3g} ms off",
        )
    rounded = float(f"{period:.2g}")
    return rounded if abs(rounded - period) <= CLOCK_SHARE * period else period


def direct_json(found: DirectFit) -> dict[str, Any]:
    """The contract's document of ``fit``; there is no simulated height and no lift file here."""
    from homing.report.jsonform import program_version

    fit = found.fit
    return {
        "downstop": program_version(),
        "command": "fit",
        "logs": [found.source],
        "parameters": [
            {
                "key": key,
                "value": value,
                "unit": unit,
                "std_error": error,
                "prior": None,
                "low": value - Z95 * error,
                "high": value + Z95 * error,
                "note": note,
            }
            for (key, unit, note), value, error in _rows(fit)
        ],
        "fit_error_mm_rms": None,
        "fit_error_n_rms": fit.scatter_n,
        "fit_error_share": fit.error_share,
        "condition_number": fit.condition,
        "rows_used": found.rows,
        "equations_used": fit.rows,
        "force_per_volt": found.force_per_volt,
        "period_ms": found.period_s * 1e3,
        "cutoff_hz": found.cutoff_hz,
        "encoder_step_mm": None if found.grid is None else found.grid.step / MM,
        "speed_step_mm_s": None if found.grid is None else found.grid.speed_step / MM,
        "cautions": found.cautions,
        "lift_file": None,
    }


def _rows(fit: ForceFit) -> list[tuple[tuple[str, str, str], float, float]]:
    assert fit.names == PARAMETERS
    return list(zip(KEYS, fit.values.tolist(), fit.std_errors.tolist(), strict=True))


def direct_text(found: DirectFit) -> str:
    """The fit as a plain table."""
    fit = found.fit
    lines = [f"{'':<26} {'fitted':>10} {'std error':>10}  unit"]
    for (key, unit, note), value, error in _rows(fit):
        lines.append(f"{key:<26} {value:>10.3f} {error:>10.4f}  {unit:<6}  {note}")
    lines += [
        "",
        f"condition number {fit.condition:.2f}; left over {fit.scatter_n:.3f} N rms, "
        f"{100.0 * fit.error_share:.2f} % of the force",
        f"{found.rows} rows, one in {found.period_s * 1e3:.4g} ms; smoothed below {found.cutoff_hz:.3g} Hz, "
        f"{fit.rows} equations",
        _grid_words(found.grid),
        *(f"caution: {each}" for each in found.cautions),
        "no lift file written: these numbers are the drive's as a whole",
    ]
    return "\n".join(lines)


def _grid_words(grid: Grid | None) -> str:
    if grid is None:
        return "the positions stand on no encoder grid: smoothed or worked out before they were logged?"
    return (
        f"encoder grid {grid.step / MM:.3g} mm; from row to row a speed is a multiple of "
        f"{grid.speed_step / MM:.3g} mm/s"
    )
