"""Files to logs: the only place that opens one.

`read_log` goes: bytes -> table of cells (text, JSON lines or Parquet) -> long layout made wide -> roles
-> clock -> columns in base units -> defects -> `Log`. Each step adds what it found wrong; none hides it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from replay.cells import numbers
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
from replay.typed import read_json_lines, read_parquet
from replay.units import REQUIRED, Role
from sensor_models.errors import InputError

Columns = LogColumns | Mapping[str, Any] | str | Path | None

#: More control characters than this share make a file binary.
BINARY_SHARE = 0.002
#: Bytes looked at to tell text from binary.
SNIFFED_BYTES = 1 << 16


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
    cells = numbers(table.columns[choice.index])
    return table, roles, read_clock(table, choice, cells)


def read_table(path: Path) -> Table:
    """Open a file and take it apart into cells."""
    try:
        data = path.read_bytes()
    except OSError as problem:
        reason = (problem.strerror or "cannot be read").lower()
        raise InputError(f"must be a log that can be read ({reason})", file=str(path)) from None
    if not data.strip(b"\0 \r\n\t"):
        raise InputError("must hold a header and rows; it is empty", file=path.name)
    if data.startswith(b"PAR1"):
        return read_parquet(data, path.name)
    if data.startswith(MAGIC):
        table, notes = read_mcap(data, path.name)
        return _with_notes(table, notes)
    text, notes = _decoded(data, path.name)
    reader = read_json_lines if text.lstrip().startswith("{") else read_delimited
    table = reader(text, path.name)
    return _with_notes(table, notes)


def _with_notes(table: Table, notes: list[str]) -> Table:
    return replace(table, notes=(*notes, *table.notes)) if notes else table


def _decoded(data: bytes, source: str) -> tuple[str, list[str]]:
    notes = []
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace"), ["read as UTF-16"]
    bare = data.rstrip(b"\0")
    if len(bare) < len(data):
        # a file system that lost power hands back blocks of zeros
        notes.append(f"{len(data) - len(bare)} zero bytes at the end ignored")
    control = sum(bare[:SNIFFED_BYTES].count(code) for code in range(32) if code not in b"\t\n\r\f\v\x1a")
    if control > BINARY_SHARE * min(len(bare), SNIFFED_BYTES):
        raise InputError("must be a text log (CSV, TSV, JSON lines) or Parquet; this is binary", file=source)
    try:
        return bare.decode("utf-8-sig"), notes
    except UnicodeDecodeError:
        return bare.decode("latin-1"), [*notes, "not UTF-8; read as Latin-1"]


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
        row=table.row[clock.keep],
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
