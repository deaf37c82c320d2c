"""``downstop new``: a starter lift file, or what to log."""

from __future__ import annotations

from pathlib import Path

import click

from sensor_models.errors import InputError


@click.command()
@click.argument("file", required=False, metavar="FILE")
@click.option("--log-columns", is_flag=True, help="Print which columns to log, how fast, and a logging stub.")
def new(file: str | None, log_columns: bool) -> int:
    """Write a commented starter lift file to FILE, which verifies as it stands.

    Nothing is overwritten.
    """
    from homing.starter import logging_advice

    if file is None and not log_columns:
        raise InputError("must be given: a name for the starter file, such as my_lift.toml", key="FILE")
    if file is not None:
        _write_starter(Path(file))
    if log_columns:
        click.echo(logging_advice(), nl=False)
    return 0


def _write_starter(path: Path) -> None:
    from homing.report.files import write_text
    from homing.starter import starter_text

    if path.exists():
        raise InputError("must be a new file; nothing is overwritten", key="FILE", got=str(path))
    if path.suffix.lower() != ".toml":
        raise InputError("must end in .toml", key="FILE", got=str(path))
    write_text(path, starter_text(), key="FILE")
    click.echo(f"wrote {path}; edit it, then: downstop verify {path}")
