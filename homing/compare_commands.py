"""``downstop compare``: candidates in, a ranked table and mounting advice out.

The flow is that of ``verify``: outputs are tried first, then the study runs, then files are written whole,
then the terminal table. The exit code is 0 whatever the ranking says.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from homing.outputs import STANDARD_OUTPUT, checked_outputs, hand_over_json, measured_periods
from sensor_models.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from homing.compare.results import Comparison
    from homing.liftfile import Lift


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
    timing_from: str | None


_OPTIONS: tuple[Callable[[Any], Any], ...] = (
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
    click.option("--quiet", is_flag=True, help="No progress and no tables; the first candidate only."),
    click.option(
        "--runs",
        type=click.IntRange(1, 10_000_000),
        default=2000,
        show_default=True,
        help="Runs of each candidate's ensemble, and of every confirmation.",
    ),
    click.option(
        "--timing-from", metavar="LOG", help="Draw the loop's periods from those measured in a log."
    ),
)


def _with_options(command: Callable[..., int]) -> Callable[..., int]:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.command()
@_with_options
def compare(lift: str | None, named: str | None, **options: Any) -> int:
    """Compare sensors and mountings before drilling, and say where to mount the best one.

    LIFT is a lift file (TOML) with [[candidate]] tables; without any, its own sensors are compared. Exit code
    0: compared; 2: the input cannot be used.
    """
    choices = Choices(**options)
    if lift is not None and named is not None:
        raise InputError("must be given once: as an argument or with --lift", key="LIFT", got=named)
    from homing.liftfile import load_lift

    loaded = load_lift(lift if lift is not None else named)
    periods_s = measured_periods(choices.timing_from, loaded)
    with checked_outputs(choices.json, choices.out, choices.show) as folder:
        comparison = _study(loaded, choices, periods_s)
        page = _write_report(comparison, folder, choices, periods_s)
        if choices.json is not None:
            from homing.compare.jsonform import comparison_json

            hand_over_json(comparison_json(comparison), choices.json)
        if choices.json != STANDARD_OUTPUT:
            _tell(comparison, quiet=choices.quiet)
    if page is not None:
        click.echo(f"report: {page}", err=True)
        if choices.show:
            click.launch(page.resolve().as_uri())
    return 0


def _study(lift: Lift, choices: Choices, periods_s: NDArray[np.float64] | None) -> Comparison:
    from homing.compare.study import compare as study
    from homing.progress import Progress

    with Progress(shown=not choices.quiet) as progress:
        return study(
            lift,
            runs=choices.runs,
            seed=choices.seed,
            workers=choices.workers,
            periods_s=periods_s,
            progress=progress,
        )


def _write_report(
    comparison: Comparison, folder: Path | None, choices: Choices, periods_s: NDArray[np.float64] | None
) -> Path | None:
    if folder is None:
        return None
    from homing.progress import Progress
    from homing.report.compare_page import write_report

    with Progress(shown=not choices.quiet) as progress:
        return write_report(
            comparison, folder, periods_s=periods_s, workers=choices.workers, progress=progress
        )


def _tell(comparison: Comparison, *, quiet: bool) -> None:
    if quiet:
        click.echo(verdict(comparison))
        return
    from rich.console import Console

    from homing.report.compare_terminal import show

    show(comparison, Console(highlight=False))


def verdict(comparison: Comparison) -> str:
    """The outcome in one line: who comes first and why, and what the advice begins with."""
    first = comparison.best
    word = "pass" if first.passed else "fail"
    advice = comparison.advice.sentences[:1] if comparison.advice is not None else ()
    head = f"{comparison.lift.name}: {first.name} ({first.kind}) comes first, {word}"
    return "; ".join([head, first.why, *advice])
