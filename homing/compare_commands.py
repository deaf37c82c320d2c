"""``downstop compare``: candidates in, a ranked table and mounting advice out.

The flow is that of ``verify``: outputs are tried first, then the study runs, then files are written whole,
then the terminal table. The exit code is 0 whatever the ranking says.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from homing.outputs import checked_outputs, hand_over_json, measured_periods
from homing.shared_options import (
    LIFT,
    TIMING_FROM,
    SharedChoices,
    draw_options,
    lift_file,
    result_options,
    runs_option,
    tell_page,
    with_options,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from homing.compare.results import Comparison
    from homing.liftfile import Lift


@dataclass(frozen=True, kw_only=True)
class Choices(SharedChoices):
    """The options of one call."""

    timing_from: str | None


_OPTIONS = (
    *LIFT,
    *result_options(quiet="the first candidate only"),
    *draw_options(),
    runs_option("Runs of each candidate's ensemble, and of every confirmation."),
    TIMING_FROM,
)


@click.command()
@with_options(_OPTIONS)
def compare(lift: str | None, named: str | None, **options: Any) -> int:
    """Compare sensors and mountings before drilling, and say where to mount the best one.

    LIFT is a lift file (TOML) with [[candidate]] tables; without any, its own sensors are compared. Exit code
    0: compared; 2: the input cannot be used.
    """
    choices = Choices(**options)
    file = lift_file(lift, named)
    from homing.liftfile import load_lift

    loaded = load_lift(file)
    periods_s = measured_periods(choices.timing_from, loaded)
    with checked_outputs(choices.json, choices.out, choices.show) as folder:
        comparison = _study(loaded, choices, periods_s)
        page = _write_report(comparison, folder, choices, periods_s)
        if choices.json is not None:
            from homing.compare.jsonform import comparison_json

            hand_over_json(comparison_json(comparison), choices.json)
        if not choices.silent:
            _tell(comparison, quiet=choices.quiet)
    tell_page(page, show=choices.show)
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
    from homing.report.compare_terminal import show
    from homing.report.terminal import console

    show(comparison, console())


def verdict(comparison: Comparison) -> str:
    """The outcome in one line: who comes first and why, and what the advice begins with."""
    first = comparison.best
    word = "pass" if first.passed else "fail"
    advice = comparison.advice.sentences[:1] if comparison.advice is not None else ()
    head = f"{comparison.lift.name}: {first.name} ({first.kind}) comes first, {word}"
    return "; ".join([head, first.why, *advice])
