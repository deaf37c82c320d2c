"""Options of ``downstop verify`` that look beyond the ensemble: the worst case, case files, small
probabilities.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import click

from sensor_models.errors import InputError

DEEPER_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.option(
        "--worst",
        type=click.FloatRange(0.0, 86_400.0, min_open=True),
        metavar="SECONDS",
        help="Search this long for the run with the least margin, and write it as a case file; "
        "Ctrl-C ends it early.",
    ),
    click.option(
        "--worst-fault",
        metavar="NAME",
        help='Let one fault of this name ("any": any one) strike in the runs that --worst searches.',
    ),
    click.option("--case", metavar="FILE", help="Play the run of a case file again."),
    click.option(
        "--rare",
        type=click.IntRange(1_000, 100_000_000),
        metavar="RUNS",
        help="Estimate the failure rates that the ensemble did not see, with about this many runs for each.",
    ),
)


class DeeperChoices(Protocol):
    """Those options of a call that belong here, and those that they are held against."""

    @property
    def json(self) -> str | None: ...
    @property
    def trace(self) -> str | None: ...
    @property
    def out(self) -> str | None: ...
    @property
    def workers(self) -> int | None: ...
    @property
    def quiet(self) -> bool: ...
    @property
    def silent(self) -> bool: ...
    @property
    def run(self) -> int | None: ...
    @property
    def program(self) -> str | None: ...
    @property
    def timing_from(self) -> str | None: ...
    @property
    def worst(self) -> float | None: ...
    @property
    def worst_fault(self) -> str | None: ...
    @property
    def case(self) -> str | None: ...
    @property
    def rare(self) -> int | None: ...


def check_deeper(choices: DeeperChoices) -> None:
    """Refuse combinations without a meaning."""
    if choices.worst_fault is not None and choices.worst is None:
        raise InputError("must come with --worst SECONDS, which it belongs to", key="--worst-fault")
    for key in ("worst", "case", "rare"):
        if getattr(choices, key) is None:
            continue
        if choices.program is not None:
            raise InputError(
                "must be left out with --program: it searches the routine's table", key=f"--{key}"
            )
        if choices.run is not None:
            raise InputError("must be left out with --run, which plays one run alone", key=f"--{key}")
    if choices.case is not None:
        for key in ("worst", "rare"):
            if getattr(choices, key) is not None:
                raise InputError("must be left out with --case, which plays one run alone", key=f"--{key}")
