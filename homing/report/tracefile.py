"""A run's trace as a table that ``downstop replay`` and any spreadsheet can read."""

from __future__ import annotations

from pathlib import Path

from homing.report.files import check_file, write_file
from homing.results import Trace

SUFFIXES = (".csv", ".parquet")


def write_trace(trace: Trace, file: str | Path) -> Path:
    """Write one row a controller tick, with the columns of the contract, as ``.csv`` or ``.parquet``.

    Numbers are written with all their digits, so that reading the file back gives the same trace.

    Raises
    ------
    InputError
        When the suffix is another one or the file cannot be written.
    """
    path = check_file(file, key="--trace", suffixes=SUFFIXES)
    import polars

    frame = polars.DataFrame({name: polars.Series(name, values) for name, values in trace.columns.items()})
    if path.suffix.lower() == ".csv":
        return write_file(path, lambda place: frame.write_csv(place), key="--trace")
    return write_file(path, lambda place: frame.write_parquet(place), key="--trace")
