"""The options of ``downstop verify``, and which of them go together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import click

from homing.deeper_options import DEEPER_OPTIONS, check_deeper
from sensor_models.errors import InputError

STANDARD_OUTPUT = "-"


@dataclass(frozen=True, kw_only=True)
class Choices:
    """The options of one call."""

    json: str | None
    out: str | None
    show: bool
    seed: int
    workers: int | None
    quiet: bool
    runs: int
    run: int | None
    trace: str | None
    timing_from: str | None
    program: str | None
    worst: float | None
    worst_fault: str | None
    case: str | None
    rare: int | None

    @property
    def silent(self) -> bool:
        """True when nothing but the JSON may go to standard output."""
        return self.json == STANDARD_OUTPUT

    def check(self) -> None:
        """Refuse combinations without a meaning."""
        if self.run is not None and (self.out is not None or self.show):
            raise InputError(
                "must be left out with --run: a single run has a trace (--trace), no report", key="--out"
            )
        check_deeper(self)


VERIFY_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.argument("lift", required=False, metavar="[LIFT]"),
    click.option("--lift", "named", metavar="LIFT", help="The lift file; the built-in example by default."),
    click.option("--json", "json", metavar="FILE", help="Write the result as JSON; - is standard output."),
    click.option("--out", metavar="DIR", help="Write a report with figures into this folder."),
    click.option("--open", "show", is_flag=True, help="Show the report when it is ready."),
    click.option(
        "--seed", type=click.IntRange(0, 2**63 - 1), default=0, show_default=True, help="Seed of all draws."
    ),
    click.option(
        "--workers",
        type=click.IntRange(1, 1024),
        help="Cores to use; all by default. Never changes a number.",
    ),
    click.option("--quiet", is_flag=True, help="No progress and no tables; the verdict only."),
    click.option(
        "--runs",
        type=click.IntRange(1, 10_000_000),
        default=2000,
        show_default=True,
        help="Runs of the ensemble.",
    ),
    click.option(
        "--run", "run", type=click.IntRange(0), metavar="K", help="Reproduce run K of the ensemble alone."
    ),
    click.option(
        "--trace", metavar="FILE", help="Write the nominal run, or run K, tick by tick (.csv or .parquet)."
    ),
    click.option(
        "--timing-from", metavar="LOG", help="Draw the loop's periods from those measured in a log."
    ),
    click.option(
        "--program",
        metavar="COMMAND",
        help="Let this program control the lift, instead of the routine: a line of JSON a loop.",
    ),
    *DEEPER_OPTIONS,
)


def with_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options of ``verify``."""
    for option in reversed(VERIFY_OPTIONS):
        command = option(command)
    return command
