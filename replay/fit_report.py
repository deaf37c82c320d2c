"""What ``downstop fit`` prints and writes as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from replay.fit_result import Estimate, Fit

#: A fit worse than this does not explain the moves [mm rms].
POOR_FIT_MM = 5.0
#: A move longer than this share of the travel does not belong to this lift.
LONGEST_SHARE = 1.1


def fit_json(fit: Fit, lift_file: Path | None) -> dict[str, Any]:
    """The contract's document of ``fit``."""
    from homing.report.jsonform import program_version

    return {
        "downstop": program_version(),
        "command": "fit",
        "lift": fit.lift.name,
        "logs": list(fit.sources),
        "parameters": [_parameter(each) for each in fit.estimates],
        "correlations": {"keys": list(fit.keys), "matrix": np.round(fit.correlations, 4).tolist()},
        "fit_error_mm_rms": fit.error_mm_rms,
        "rows_used": fit.rows_used,
        "moves_used": fit.moves_used,
        "moves_left_out": [
            {
                "log": move.source,
                "t_s": float(move.time_s[0]),
                "rows": [int(move.rows[0]), int(move.rows[-1])],
            }
            for move in fit.moves_left_out
        ],
        "cautions": cautions(fit),
        "lift_file": None if lift_file is None else str(lift_file),
    }


def _parameter(estimate: Estimate) -> dict[str, Any]:
    low, high = estimate.interval
    return {
        "key": estimate.key,
        "value": estimate.value,
        "unit": estimate.unit,
        "std_error": estimate.std_error,
        "prior": estimate.prior,
        "low": low,
        "high": high,
        "identifiable": estimate.told,
        "note": estimate.note,
    }


def cautions(fit: Fit) -> list[str]:
    """What must be known before the numbers are believed."""
    said = []
    if fit.error_mm_rms > POOR_FIT_MM:
        said.append(
            f"simulated and logged heights are {fit.error_mm_rms:.1f} mm apart (rms): this lift file does "
            "not explain these moves; check scale, directions of command and counts, and the log for a fault"
        )
    everyone = fit.moves_used + len(fit.moves_left_out)
    if fit.error_mm_rms > POOR_FIT_MM and 2 * fit.moves_against > everyone:
        said.append(
            f"{fit.moves_against} of {everyone} moves went against their command: the drive's leads or the "
            "encoder are turned round, or the column of commands is (invert = true in [log])"
        )
    travel_mm = fit.lift.lift.travel_mm
    if fit.longest_move_mm > LONGEST_SHARE * travel_mm:
        said.append(
            f"the log moves {fit.longest_move_mm:.0f} mm at once, more than the lift file's travel of "
            f"{travel_mm:.0f} mm: check the scale (mm per count) and the file"
        )
    if fit.moves_left_out:
        times = ", ".join(f"{move.time_s[0]:.1f} s" for move in fit.moves_left_out)
        said.append(
            f"{len(fit.moves_left_out)} of {everyone} moves left out, since "
            f"this lift cannot have made them (jam, slack string, lost counts?): from {times}"
        )
    if fit.row_before:
        said.append("the command column is read as what was in force in its row, sent in the row before")
    tied = fit.correlations - np.eye(len(fit.keys))
    if tied.size and float(np.max(np.abs(tied))) > 0.9:
        said.append(
            "some numbers are tied to each other: use them together, and log moves of other speeds and "
            "loads to tell them apart"
        )
    return said


def fit_text(fit: Fit, lift_file: Path | None) -> str:
    """The fit as a plain table with notes."""
    head = f"{'':<30} {'fitted':>10} {'std error':>10} {'before':>10}  unit"
    lines = [head]
    for each in fit.estimates:
        lines.append(
            f"{each.key:<30} {each.value:>10.4g} {each.std_error:>10.2g} {each.prior:>10.4g}  {each.unit}"
        )
    lines += ["", *(f"{each.key}: {each.note}" for each in fit.estimates if each.notes), ""]
    lines.append(
        f"{fit.rows_used} rows of {fit.moves_used} moves; simulated against logged heights "
        f"{fit.error_mm_rms:.2f} mm rms"
    )
    lines += [f"caution: {each}" for each in cautions(fit)]
    lines.append("no lift file written" if lift_file is None else f"lift file: {lift_file}")
    return "\n".join(lines)
