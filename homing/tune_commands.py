"""``downstop tune``: a lift file in, settings with the most margin out, as a new lift file.

The flow of one call: the file is read and every output is tried; the search runs until its time is over or
Ctrl-C; the new lift file, the report and the JSON are written whole; the table is printed. The old file is
never written to.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.tuning.results import Tuning

STANDARD_OUTPUT = "-"
EARLY = "Ctrl-C ends the search early; the best so far is then confirmed"


@dataclass(frozen=True, kw_only=True)
class Choices:
    """The options of one call."""

    json: str | None
    out: str | None
    show: bool
    new: str | None
    seed: int
    workers: int | None
    quiet: bool
    runs: int
    seconds: float
    evaluations: int | None

    @property
    def silent(self) -> bool:
        """True when nothing but the JSON may go to standard output."""
        return self.json == STANDARD_OUTPUT


_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.argument("lift", required=False, metavar="[LIFT]"),
    click.option("--lift", "named", metavar="LIFT", help="The lift file; the built-in example by default."),
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
    click.option(
        "--runs",
        type=click.IntRange(1, 1_000_000),
        default=2000,
        show_default=True,
        help="Fresh runs that confirm the result.",
    ),
    click.option("--json", "json", metavar="FILE", help="Write the result as JSON; - is standard output."),
    click.option(
        "--out", metavar="DIR", help="Write a report with figures, and the new lift file, into this folder."
    ),
    click.option("--open", "show", is_flag=True, help="Show the report when it is ready."),
    click.option(
        "--seed", type=click.IntRange(0, 2**63 - 1), default=0, show_default=True, help="Seed of all draws."
    ),
    click.option(
        "--workers",
        type=click.IntRange(1, 1024),
        help="Cores to use; all by default. Never changes the result of a trial.",
    ),
    click.option("--quiet", is_flag=True, help="No progress and no tables; the verdict only."),
)


def _with_options(command: Callable[..., int]) -> Callable[..., int]:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.command()
@_with_options
def tune(lift: str | None, named: str | None, **options: Any) -> int:
    """Find the routine's settings that meet the requirements with the most margin.

    LIFT is a lift file (TOML); without one the built-in example is tuned. A new lift file is written, the
    old one never. Ctrl-C ends the search early and confirms the best so far. Exit code 0: found and
    confirmed; 1: nothing tried meets the requirements; 2: the input cannot be used.
    """
    choices = Choices(**options)
    if lift is not None and named is not None:
        raise InputError("must be given once: as an argument or with --lift", key="LIFT", got=named)
    from homing.liftfile import load_lift
    from homing.outputs import checked_outputs

    loaded = load_lift(lift if lift is not None else named)
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
    from homing.tuning.guards import NO_MOTION, TIME_OUT, TRAVEL
    from homing.tuning.knobs import knobs
    from homing.tuning.newfile import check_editable, new_name

    if lift.own_routine is None:
        keys = dict.fromkeys([*(knob.key for knob in knobs(lift)), TIME_OUT, TRAVEL, NO_MOTION])
        check_editable(text, lift, tuple(keys))
    return new_name(choices.new, choices.out, lift)


def _hand_over(tuning: Tuning, written: Path | None, choices: Choices, folder: Path | None) -> None:
    from homing.report.files import write_text
    from homing.report.jsonform import to_text
    from homing.report.tune_json import tuning_json

    page = None
    if folder is not None:
        from homing.report.tune_page import write_tune_report

        page = write_tune_report(tuning, folder, written)
    document = to_text(tuning_json(tuning, written))
    if choices.silent:
        click.echo(document.encode(), nl=False)
    else:
        if choices.json is not None:
            write_text(choices.json, document, key="--json")
        _tell(tuning, written, quiet=choices.quiet)
    if page is not None:
        click.echo(f"report: {page}", err=True)
        if choices.show:
            click.launch(page.resolve().as_uri())


def _tell(tuning: Tuning, written: Path | None, *, quiet: bool) -> None:
    from homing.report.tune_rows import headline

    if quiet:
        click.echo(f"{tuning.lift.name}: {headline(tuning)}" + (f" wrote {written}" if written else ""))
        return
    from homing.report.terminal import console
    from homing.report.tune_terminal import show_tuning

    show_tuning(tuning, written, console())
