"""A log in words and as the ``log`` part of the JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from homing.words import Level
from replay.defects import Defect
from replay.grid import Grid, grid_of
from replay.log import Log
from replay.motion import Motion, motion
from replay.roles import RoleChoice
from replay.timing import Periods, periods
from replay.units import ON_OFF, Role

#: Row ranges of one defect that the text lists before it counts the rest.
RANGES_SHOWN = 8


@dataclass(frozen=True)
class Summary:
    """A log with what was measured on it."""

    log: Log
    periods: Periods
    motion: Motion

    @classmethod
    def of(cls, log: Log) -> Summary:
        """Measure a log."""
        return cls(log, periods(log), motion(log))


def log_part(summary: Summary) -> dict[str, Any]:
    """The ``log`` part of the JSON: contract keys, and speeds, turns, stretches and notes beside them.

    Rows are data rows of the file, counted from 0. What is not known is None.
    """
    log, period, moved = summary.log, summary.periods, summary.motion
    return {
        "file": log.source,
        "rows": log.rows,
        "rows_used": len(log),
        "duration_s": log.duration_s,
        "stretches": [
            {"rows": [int(log.row[part][0]), int(log.row[part][-1])], "t_s": float(log.time_s[part][0])}
            for part in log.stretches
        ],
        "period_ms": {
            "median": _ms(period.median_s),
            "p99": _ms(period.p99_s),
            "max": _ms(period.longest_s),
            "min": _ms(period.shortest_s),
            "mean": _ms(period.mean_s),
        },
        "defects": [_defect(each) for each in log.defects],
        "roles": {role.value: _role(choice) for role, choice in sorted(log.roles.items(), key=_listed)},
        "mm_per_count": None if log.scaled_by_itself else log.mm_per_count,
        "counts": _range(log, moved.lowest, moved.highest, ""),
        "speed": _range(log, moved.fastest_in, moved.fastest_out, "_s"),
        "speed_step": _speed_step(log),
        "direction_changes": {"count": len(moved.turns), "rows": log.row[moved.turns].tolist()},
        "notes": list(log.notes),
    }


def _ms(time_s: float) -> float:
    # to the nanosecond: what lies below is rounding of the stamps' differences
    return round(time_s * 1e3, 6)


def _range(log: Log, low: float, high: float, per: str) -> dict[str, list[float] | None]:
    def pair(factor: float | None) -> list[float] | None:
        return None if factor is None or math.isnan(low) else [low * factor, high * factor]

    return {f"counts{per}": pair(None if log.scaled_by_itself else 1.0), f"mm{per}": pair(log.mm_per_count)}


def _speed_step(log: Log) -> dict[str, float | None]:
    """What one step of the encoder makes of a speed from row to row; None where there is no grid."""
    grid = _grid(log)
    step = None if grid is None else grid.speed_step
    scale = log.mm_per_count
    return {
        "counts_s": None if log.scaled_by_itself else step,
        "mm_s": None if step is None or scale is None else step * scale,
    }


def _defect(each: Defect) -> dict[str, Any]:
    return {
        "kind": each.kind.value,
        "count": each.count,
        "rows": list(each.rows),
        "column": each.column,
        "note": each.note,
    }


def _role(choice: RoleChoice) -> dict[str, Any]:
    spec = choice.spec
    entry: dict[str, Any] = {"column": spec.column}
    if spec.unit is not None:
        entry["unit"] = spec.unit.word
    if choice.role in ON_OFF:
        entry["active"] = "low" if spec.active is Level.LOW else "high"
    if spec.invert:
        entry["invert"] = True
    return {**entry, "known_from": choice.origin.value}


def _listed(item: tuple[Role, RoleChoice]) -> int:
    return list(Role).index(item[0])


def log_text(summary: Summary) -> str:
    """The summary as plain text for a terminal."""
    return "\n".join(_lines(summary))


def _lines(summary: Summary) -> Iterator[str]:
    log, period = summary.log, summary.periods
    yield log.source
    used = f" ({len(log)} used)" if log.rows > len(log) else ""
    yield f"  rows       {log.rows}{used}"
    split = f" in {len(log.stretches)} stretches, since time goes back" if len(log.stretches) > 1 else ""
    yield f"  span       {log.duration_s:.3f} s{split}"
    ms = [1e3 * each for each in (period.median_s, period.p99_s, period.longest_s, period.shortest_s)]
    yield "  period     median {:.2f} ms, 99 % under {:.2f} ms, longest {:.2f} ms, shortest {:.2f} ms".format(
        *ms
    )
    yield from _motion_lines(summary)
    yield ""
    yield "  roles"
    for role, choice in sorted(log.roles.items(), key=_listed):
        yield f"    {role.value:<10} {_role_words(choice)}"
    missing = [role.value for role in Role if role not in log.roles and not role.value.endswith("_2")]
    if missing:
        yield f"    not found: {', '.join(missing)}"
    yield ""
    yield from _defect_lines(log)
    if log.notes:
        yield ""
        yield "  notes"
        yield from (f"    {note}" for note in log.notes)


def _motion_lines(summary: Summary) -> Iterator[str]:
    log, moved = summary.log, summary.motion
    unit, factor = ("counts", 1.0) if log.mm_per_count is None else ("mm", log.mm_per_count)
    places = 0 if log.mm_per_count is None else 1
    low, high = moved.lowest * factor, moved.highest * factor
    yield f"  position   {low:.{places}f} to {high:.{places}f} {unit}"
    if math.isnan(moved.fastest_in):
        yield "  speed      no two rows to take it from"
    else:
        inwards, outwards = moved.fastest_in * factor, moved.fastest_out * factor
        over = f"over {moved.window_s * 1e3:.3g} ms; negative: inwards"
        yield f"  speed      {inwards:.{places}f} to {outwards:.{places}f} {unit}/s ({over})"
    grid = _grid(log)
    if grid is not None:
        step, speed = grid.step * factor, grid.speed_step * factor
        yield f"  grid       {step:.3g} {unit}; from row to row a speed is a multiple of {speed:.3g} {unit}/s"
    size = f"a turn counts from {moved.turn_size * factor:.3g} {unit} back"
    yield f"  turns      {len(moved.turns)} direction changes ({size})"
    if log.mm_per_count is None:
        yield "             lengths stay in counts: give mm_per_count in [log], or a lift file"


def _grid(log: Log) -> Grid | None:
    return grid_of(log.counts, log.time_s)


def _role_words(choice: RoleChoice) -> str:
    spec = choice.spec
    unit = f" [{spec.unit.word}]" if spec.unit is not None else ""
    turned = ", sign turned" if spec.invert else ""
    low = ", made when off" if choice.role in ON_OFF and spec.active is Level.LOW else ""
    remark = f"; {choice.remark}" if choice.remark else ""
    return f'"{spec.column}"{unit}{turned}{low}, known from {choice.origin.value}{remark}'


def _defect_lines(log: Log) -> Iterator[str]:
    if not log.defects:
        yield "  defects    none"
        return
    where = f"; row 0 is line {log.first_line}" if log.first_line else ""
    yield f"  defects    (data rows counted from 0{where})"
    for each in log.defects:
        kind = each.kind.value.replace("_", " ")
        column = f' in "{each.column}"' if each.column else ""
        note = f"; {each.note}" if each.note else ""
        yield f"    {each.count} x {kind}{column}: rows {row_ranges(each.rows)}{note}"


def row_ranges(rows: Sequence[int], shown: int = RANGES_SHOWN) -> str:
    """Rows as ranges: ``"3, 7-9, 12 and 4 more rows"``."""
    ranges: list[tuple[int, int]] = []
    for row in rows:
        if ranges and row == ranges[-1][1] + 1:
            ranges[-1] = (ranges[-1][0], row)
        else:
            ranges.append((row, row))
    text = ", ".join(str(low) if low == high else f"{low}-{high}" for low, high in ranges[:shown])
    rest = sum(high - low + 1 for low, high in ranges[shown:])
    return f"{text} and {rest} more rows (all in --json)" if rest else text
