"""The options of ``downstop verify``, and which of them go together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import click

from homing.deeper_options import DEEPER_OPTIONS, check_deeper
from homing.shared_options import (
    LIFT,
    TIMING_FROM,
    SharedChoices,
    draw_options,
    result_options,
    runs_option,
)
from homing.shared_options import with_options as with_these
from sensor_models.errors import InputError


@dataclass(frozen=True, kw_only=True)
class Choices(SharedChoices):
    """The options of one call."""

    run: int | None
    trace: str | None
    timing_from: str | None
    program: str | None
    worst: float | None
    worst_fault: str | None
    case: str | None
    rare: int | None

    def check(self) -> None:
        """Refuse combinations without a meaning."""
        if self.run is not None and (self.out is not None or self.show):
            raise InputError(
                "must be left out with --run: a single run has a trace (--trace), no report", key="--out"
            )
        check_deeper(self)


VERIFY_OPTIONS = (
    *LIFT,
    *result_options(),
    *draw_options(),
    runs_option("Runs of the ensemble."),
    click.option(
        "--run", "run", type=click.IntRange(0), metavar="K", help="Reproduce run K of the ensemble alone."
    ),
    click.option(
        "--trace", metavar="FILE", help="Write the nominal run, or run K, tick by tick (.csv or .parquet)."
    ),
    TIMING_FROM,
    click.option(
        "--program",
        metavar="COMMAND",
        help="Let this program control the lift, instead of the routine: a line of JSON a loop.",
    ),
    *DEEPER_OPTIONS,
)


def with_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command the options of ``verify``."""
    return with_these(VERIFY_OPTIONS)(command)
