"""Files to logs: the only place that opens one.

`read_log` goes: bytes -> table of cells (text, JSON lines or Parquet) -> long layout made wide -> roles
-> clock -> columns in base units -> defects -> `Log`. Each step adds what it found wrong; none hides it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from replay.clock import Clock, read_clock
from replay.columns import LogColumns
from replay.defects import Defect, DefectKind
from replay.delimited import read_delimited
from replay.layout import widened
from replay.log import Log
from replay.mcap_file import MAGIC, read_mcap
from replay.roles import Roles, choose_roles
from replay.series import Series, count_defects, read_series
from replay.table import Table
from replay.textfile import PARQUET_MAGIC, SNIFFED_BYTES, as_utf_8, file_bytes
from replay.typed import read_json_lines, read_parquet
from replay.units import REQUIRED, Role
from sensor_models.errors import InputError

Columns = LogColumns | Mapping[str, Any] | str | Path | None


def read_log(path: str | Path, columns: Columns = None) -> Log:
    """Read a log: CSV, TSV, JSON lines, Parquet or MCAP with JSON messages.

    Parameters
    ----------
    path : str or Path
        The file; its content decides how it is read, not its suffix.
    columns : LogColumns, mapping, str or Path, optional
        Which column plays which role: a ``[log]`` table, or a TOML file that holds one. Without it, roles
        and units are recognised where that is unambiguous.

    Returns
    -------
    Log
        Arrays by role and all defects.

    Raises
    ------
    InputError
        When the file cannot be read, is no log, or a role or unit is ambiguous.
    """
    mapping = log_columns(columns)
    table, roles, clock = _timed(Path(path), mapping, REQUIRED)
    hold_s = mapping.hold_s if mapping is not None else None
    series: dict[Role, Series] = {}
    blank: list[str] = []
    for role, choice in roles.choices.items():
        if role is Role.TIME:
            continue
        one = read_series(table, choice, clock, hold_s)
        if one is None:
            blank.append(f"{role}: column {choice.spec.column} is empty throughout; left out")
        else:
            series[role] = one
    mm_per_count = mapping.mm_per_count if mapping is not None else None
    return _log(_with_notes(table, blank), roles, clock, series, mm_per_count)


def read_clock_of(path: str | Path, columns: Columns = None) -> Clock:
    """Read nothing but the time column; a log without counts will do.

    Raises
    ------
    InputError
        As `read_log`.
    """
    return _timed(Path(path), log_columns(columns), (Role.TIME,))[2]


def log_columns(columns: Columns) -> LogColumns | None:
    """The ``[log]`` table from whatever form it was given in; an empty one counts as none."""
    if columns is None or isinstance(columns, LogColumns):
        return columns
    if isinstance(columns, str | Path):
        return LogColumns.from_file(columns)
    return LogColumns.from_mapping(columns) if columns else None


def _timed(path: Path, columns: LogColumns | None, wanted: tuple[Role, ...]) -> tuple[Table, Roles, Clock]:
    table = widened(read_table(path), columns)
    if len(table.row) < 2:
        raise InputError(f"must hold at least two rows of data; it has {len(table.row)}", file=table.source)
    roles = choose_roles(table, columns, wanted)
    choice = roles.choices[Role.TIME]
    return table, roles, read_clock(table, choice, table.numbers(choice.index))


def read_table(path: Path) -> Table:
    """Open a file and take it apart into cells."""
    data, notes = file_bytes(path)
    if data.startswith(PARQUET_MAGIC):
        return read_parquet(data, path.name)
    if data.startswith(MAGIC):
        table, more = read_mcap(data, path.name)
        return _with_notes(table, more)
    data, more = as_utf_8(data, path.name)
    reader = read_json_lines if data[:SNIFFED_BYTES].lstrip().startswith(b"{") else read_delimited
    return _with_notes(reader(data, path.name), [*notes, *more])


def _with_notes(table: Table, notes: list[str]) -> Table:
    return replace(table, notes=(*notes, *table.notes)) if notes else table


def _log(
    table: Table, roles: Roles, clock: Clock, series: Mapping[Role, Series], mm_per_count: float | None
) -> Log:
    counts = series[Role.COUNTS]
    found, breaks = count_defects(table, clock, counts, roles.choices[Role.COUNTS])
    of_columns = [each for one in series.values() for each in one.defects]
    used = {role: series[role].choice for role in series}
    chosen = roles.choices[Role.TIME]
    time = replace(chosen, spec=replace(chosen.spec, unit=clock.unit), remark=clock.remark)
    return Log(
        source=table.source,
        time_s=clock.time_s,
        row=table.rows_kept(clock.keep),
        values={role: each.values for role, each in series.items()},
        starts=clock.starts,
        roles={Role.TIME: time, **used},
        defects=_sorted([*table.damage, *clock.defects, *found, *of_columns]),
        notes=(*table.notes, *roles.notes, *(note for each in series.values() for note in each.notes)),
        rows=table.rows,
        mm_per_count=1.0 if counts.is_length else mm_per_count,
        changes_only=counts.carried,
        breaks=breaks,
        first_stamp=clock.first,
        first_line=table.first_line,
    )


def _sorted(defects: list[Defect]) -> tuple[Defect, ...]:
    order = {kind: place for place, kind in enumerate(DefectKind)}
    return tuple(sorted(defects, key=lambda each: (order[each.kind], each.column or "")))
