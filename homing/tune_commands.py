"""``downstop tune``: a lift file in, settings with the most margin out, as a new lift file.

The flow of one call: the file is read and every output is tried; the search runs until its time is over or
Ctrl-C; the new lift file, the report and the JSON are written whole; the table is printed. The old file is
never written to.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from homing.outputs import checked_outputs, hand_over_json
from homing.shared_options import (
    LIFT,
    SharedChoices,
    draw_options,
    lift_file,
    result_options,
    runs_option,
    tell_page,
    with_options,
)

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.tuning.results import Tuning

EARLY = "Ctrl-C ends the search early; the best so far is then confirmed"


@dataclass(frozen=True, kw_only=True)
class Choices(SharedChoices):
    """The options of one call."""

    new: str | None
    seconds: float
    evaluations: int | None


_OPTIONS = (
    *LIFT,
    click.option(
        "--new",
        metavar="FILE",
        help="Name of the new lift file; NAME.tuned.toml by default. Never one that is there.",
    ),
    click.option(
        "--seconds",
        type=click.FloatRange(1.0, 86400.0),
        default=20.0,
        show_default=True,
        help="Time to search; confirming what was found takes some more.",
    ),
    click.option(
        "--evaluations",
        type=click.IntRange(1, 1_000_000),
        metavar="N",
        help="Search for so many trials instead: the same result on every machine.",
    ),
    runs_option("Fresh runs that confirm the result.", most=1_000_000),
    *result_options(out="Write a report with figures, and the new lift file, into this folder."),
    *draw_options(unchanged="the result of a trial"),
)


@click.command()
@with_options(_OPTIONS)
def tune(lift: str | None, named: str | None, **options: Any) -> int:
    """Find the routine's settings that meet the requirements with the most margin.

    LIFT is a lift file (TOML); without one the built-in example is tuned. A new lift file is written, the
    old one never. Ctrl-C ends the search early and confirms the best so far. Exit code 0: found and
    confirmed; 1: nothing tried meets the requirements; 2: the input cannot be used.
    """
    choices = Choices(**options)
    file = lift_file(lift, named)
    from homing.liftfile import load_lift

    loaded = load_lift(file)
    with checked_outputs(choices.json, choices.out, choices.show) as folder:
        return _tuned(loaded, choices, folder)


def _tuned(lift: Lift, choices: Choices, folder: Path | None) -> int:
    from homing.progress import Progress
    from homing.report.files import write_text
    from homing.tuning.newfile import text_of, tuned_text
    from homing.tuning.study import tune as study

    text = text_of(lift)
    target = _target(lift, choices, text)
    with Progress(shown=not choices.quiet) as progress:
        if not choices.quiet:
            click.echo(EARLY, err=True)
        tuning = study(
            lift,
            choices.runs,
            choices.seed,
            seconds=choices.seconds,
            evaluations=choices.evaluations,
            workers=choices.workers,
            progress=progress,
        )
    written = write_text(target, tuned_text(tuning, text), key="--new") if tuning.found else None
    _hand_over(tuning, written, choices, folder)
    return 0 if tuning.found else 1


def _target(lift: Lift, choices: Choices, text: str) -> Path:
    """The name of the new file, tried before the search, and the old text tried for changing."""
    from homing.tuning.newfile import check_editable, new_name
    from homing.tuning.study import keys_of

    check_editable(text, lift, keys_of(lift))
    return new_name(choices.new, choices.out, lift)


def _hand_over(tuning: Tuning, written: Path | None, choices: Choices, folder: Path | None) -> None:
    from homing.report.tune_json import tuning_json

    page = None
    if folder is not None:
        from homing.report.tune_page import write_tune_report

        page = write_tune_report(tuning, folder, written)
    if choices.json is not None:
        hand_over_json(tuning_json(tuning, written), choices.json)
    if not choices.silent:
        _tell(tuning, written, quiet=choices.quiet)
    tell_page(page, show=choices.show)


def _tell(tuning: Tuning, written: Path | None, *, quiet: bool) -> None:
    from homing.report.tune_rows import headline

    if quiet:
        click.echo(f"{tuning.lift.name}: {headline(tuning)}" + (f" wrote {written}" if written else ""))
        return
    from homing.report.terminal import console
    from homing.report.tune_terminal import show_tuning

    show_tuning(tuning, written, console())
