"""Options that several commands have, written once: the lift, what becomes of the result, draws and cores."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from homing.outputs import STANDARD_OUTPUT
from sensor_models.errors import InputError

Option = Callable[[Any], Any]

LIFT: tuple[Option, ...] = (
    click.argument("lift", required=False, metavar="[LIFT]"),
    click.option("--lift", "named", metavar="LIFT", help="The lift file; the built-in example by default."),
)
TIMING_FROM: Option = click.option(
    "--timing-from", metavar="LOG", help="Draw the loop's periods from those measured in a log."
)


@dataclass(frozen=True, kw_only=True)
class SharedChoices:
    """Those options of a call that ``result_options``, ``draw_options`` and ``runs_option`` ask for."""

    json: str | None
    out: str | None
    show: bool
    seed: int
    workers: int | None
    quiet: bool
    runs: int

    @property
    def silent(self) -> bool:
        """True when nothing but the JSON may go to standard output."""
        return self.json == STANDARD_OUTPUT


def result_options(
    *, out: str = "Write a report with figures into this folder.", quiet: str = "the verdict only"
) -> tuple[Option, ...]:
    """Where the result goes; ``quiet`` is what is printed when little is wanted."""
    return (
        click.option(
            "--json", "json", metavar="FILE", help="Write the result as JSON; - is standard output."
        ),
        click.option("--out", metavar="DIR", help=out),
        click.option("--open", "show", is_flag=True, help="Show the report when it is ready."),
        click.option("--quiet", is_flag=True, help=f"No progress and no tables; {quiet}."),
    )


def draw_options(*, unchanged: str = "a number") -> tuple[Option, ...]:
    """Seed and cores; ``unchanged`` is what the number of cores never changes."""
    return (
        click.option(
            "--seed",
            type=click.IntRange(0, 2**63 - 1),
            default=0,
            show_default=True,
            help="Seed of all draws.",
        ),
        click.option(
            "--workers",
            type=click.IntRange(1, 1024),
            help=f"Cores to use; all by default. Never changes {unchanged}.",
        ),
    )


def runs_option(words: str, *, most: int = 10_000_000) -> Option:
    """How many runs; ``words`` say of what."""
    return click.option("--runs", type=click.IntRange(1, most), default=2000, show_default=True, help=words)


def with_options(options: Sequence[Option]) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """Give a command some options, in this order."""

    def given(command: Callable[..., int]) -> Callable[..., int]:
        for option in reversed(options):
            command = option(command)
        return command

    return given


def lift_file(lift: str | None, named: str | None) -> str | None:
    """The lift file of a call, given as an argument or with ``--lift``; None for the built-in example.

    Raises
    ------
    InputError
        When it is given both ways.
    """
    if lift is not None and named is not None:
        raise InputError("must be given once: as an argument or with --lift", key="LIFT", got=named)
    return lift if lift is not None else named


def tell_page(page: Path | None, *, show: bool) -> None:
    """Say where the report is, and show it if that is wanted."""
    if page is not None:
        click.echo(f"report: {page}", err=True)
        if show:
            click.launch(page.resolve().as_uri())
