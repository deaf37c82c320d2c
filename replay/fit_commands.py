"""``downstop fit``: logs and a lift file in, a calibrated lift file out.

The flow of one call: outputs are tried first, logs and lift file are read, the lift is fitted, the new
lift file is written whole under a name of its own, then the table is printed. The old file is never
written to.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from replay.columns import LogColumns
    from replay.log import Log

STANDARD_OUTPUT = "-"
NO_LIFT = (
    "caution: no lift file given, so the built-in example is fitted, an invented lift; "
    'make your own with "downstop new" and give it with --lift'
)


@dataclass(frozen=True, kw_only=True)
class Choices:
    """The options of one call."""

    lift: str | None
    columns: str | None
    json: str | None
    out: str | None
    quiet: bool
    seed: int
    workers: int | None
    force_per_volt: float | None


_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.argument("logs", nargs=-1, required=True, metavar="LOG..."),
    click.option("--lift", metavar="LIFT", help="Lift file: where the fit starts; it is not written to."),
    click.option("--columns", metavar="MAP.toml", help="TOML file with a [log] section; goes first."),
    click.option("--out", metavar="NEW.toml", help="The new lift file, or a folder for it."),
    click.option("--json", "json", metavar="FILE", help="Write the result as JSON; - is standard output."),
    click.option("--seed", type=click.IntRange(0, 2**63 - 1), default=0, help="Nothing is drawn; ignored."),
    click.option("--workers", type=click.IntRange(1, 1024), help="A fit needs one core; ignored."),
    click.option("--quiet", is_flag=True, help="Print nothing but errors."),
    click.option(
        "--force-per-volt",
        type=float,
        metavar="N/V",
        help="Command is a voltage that makes this force at the carriage (1: a force in N): mass and "
        "friction straight from the motion, no lift file needed.",
    ),
)


def _with_options(command: Callable[..., int]) -> Callable[..., int]:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.command()
@_with_options
def fit(logs: tuple[str, ...], **options: Any) -> int:
    """Calibrate a lift file from logs of the real lift.

    LOG is CSV or TSV, JSON lines or Parquet, with counts and commands. Several logs of one lift are
    fitted together. Exit code 0: fitted; 2: the input cannot be used.
    """
    choices = Choices(**options)
    if choices.force_per_volt is not None:
        return _fit_direct(logs, choices, choices.force_per_volt)
    from homing.liftfile import load_lift
    from homing.report.files import check_file, write_text

    lift = load_lift(choices.lift)
    target = new_name(choices.out, lift)
    if choices.json is not None and choices.json != STANDARD_OUTPUT:
        check_file(choices.json, key="--json")
    read = read_logs(logs, lift, choices.columns)
    from homing.progress import Progress
    from homing.report.jsonform import to_text
    from replay.fit import fit_logs
    from replay.fit_liftfile import fitted_text
    from replay.fit_report import fit_json, fit_text

    with Progress(shown=not choices.quiet):
        found = fit_logs(read, lift)
    write_text(target, fitted_text(found), key="--out")
    document = to_text(fit_json(found, target))
    if choices.json == STANDARD_OUTPUT:
        click.echo(document, nl=False)
    elif choices.json is not None:
        write_text(choices.json, document, key="--json")
    if choices.lift is None and not choices.quiet:
        click.echo(NO_LIFT, err=True)
    if choices.json != STANDARD_OUTPUT and not choices.quiet:
        click.echo(fit_text(found, target))
    return 0


def _fit_direct(logs: Sequence[str], choices: Choices, force_per_volt: float) -> int:
    """Mass and friction from force and motion alone; nothing is simulated and no lift file written."""
    if not 0.0 < abs(force_per_volt) < float("inf"):
        raise InputError("must be a number of N/V other than 0", key="--force-per-volt", got=force_per_volt)
    if len(logs) > 1:
        raise InputError("takes one log", key="--force-per-volt", got=f"{len(logs)} logs")
    if choices.out is not None:
        raise InputError("must not be given with --force-per-volt, which writes no lift file", key="--out")
    from homing.liftfile import load_lift
    from homing.report.files import check_file, write_text
    from homing.report.jsonform import to_text
    from replay.force_fit import direct_json, direct_text, fit_direct
    from replay.reading import read_log

    if choices.json is not None and choices.json != STANDARD_OUTPUT:
        check_file(choices.json, key="--json")
    lift = None if choices.lift is None else load_lift(choices.lift)
    log = read_log(logs[0], choices.columns if lift is None else _columns(choices.columns, lift))
    found = fit_direct(log, force_per_volt, None if lift is None else lift.drive.mm_per_count)
    document = to_text(direct_json(found))
    if choices.json == STANDARD_OUTPUT:
        click.echo(document, nl=False)
    elif choices.json is not None:
        write_text(choices.json, document, key="--json")
    if choices.json != STANDARD_OUTPUT and not choices.quiet:
        click.echo(direct_text(found))
    return 0


def read_logs(logs: Sequence[str], lift: Lift, columns: str | None) -> list[Log]:
    """Read every log with the columns of the map, else of the lift file, else as recognised."""
    from replay.reading import read_log

    mapping = _columns(columns, lift)
    return [read_log(path, mapping).scaled(lift.drive.mm_per_count) for path in logs]


def _columns(path: str | None, lift: Lift) -> LogColumns | None:
    from replay.columns import LogColumns

    if path is not None:
        return LogColumns.from_file(path)
    return LogColumns.from_lift(lift.log, Path(lift.source).name) if lift.log else None


def new_name(out: str | None, lift: Lift) -> Path:
    """Where the new lift file goes; never onto a file that is there.

    Raises
    ------
    InputError
        When a named file exists already, or no file can be made there.
    """
    from homing.report.files import check_file, check_folder

    stem = Path(lift.source).name.removesuffix(".toml").replace(" ", "_")
    if out is not None and out.lower().endswith(".toml"):
        path = check_file(out, key="--out")
        if path.exists():
            raise InputError(
                "must be a new name; this file is there and is not overwritten", key="--out", got=out
            )
        return path
    folder = Path() if out is None else check_folder(out)
    names = (folder / f"{stem}.fitted{number}.toml" for number in ("", *(f"-{k}" for k in range(2, 1000))))
    free = next((name for name in names if not name.exists()), None)
    if free is None:
        raise InputError("must be given: a thousand fitted lift files are there already", key="--out")
    return check_file(free, key="--out")
