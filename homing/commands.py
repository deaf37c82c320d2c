"""``downstop verify``: options in, verdict out.

The flow of one call:

1. the options are held against each other, lift file and log are read, and every output is tried, so
   that nobody waits for a result that cannot be kept;
2. the study runs (``homing.verify``), or one run alone (``homing.simulate`` with ``--run``);
3. files are written whole, then the terminal table, then the verdict as exit code.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from homing.outputs import hand_over_json, measured_periods
from homing.verify_options import Choices, with_options
from sensor_models.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from homing.bridge.controller import Program
    from homing.deeper import Deeper
    from homing.liftfile import Lift
    from homing.results import Run, Verification


@click.command()
@with_options
def verify(lift: str | None, named: str | None, **options: Any) -> int:
    """Say whether a lift zeroes within its limits, and what to change if not.

    LIFT is a lift file (TOML); without one the built-in example is verified. Exit code 0: every
    requirement holds; 1: one falls short; 2: the input cannot be used.
    """
    choices = Choices(**options)
    choices.check()
    if lift is not None and named is not None:
        raise InputError("must be given once: as an argument or with --lift", key="LIFT", got=named)
    from homing.liftfile import load_lift

    if choices.case is not None:
        from homing.deeper import play_case

        return play_case(choices, lift if lift is not None else named)
    loaded = load_lift(lift if lift is not None else named)
    periods_s = measured_periods(choices.timing_from, loaded)
    with _outputs(choices) as folder:
        if choices.run is not None:
            return _single(loaded, choices, periods_s)
        return _whole(loaded, choices, folder, periods_s)


def _whole(lift: Lift, choices: Choices, folder: Path | None, periods_s: NDArray[np.float64] | None) -> int:
    from homing.progress import Progress
    from homing.verify import verify as study

    with Progress(shown=not choices.quiet) as progress:
        verification = study(
            lift,
            runs=choices.runs,
            seed=choices.seed,
            workers=choices.workers,
            periods_s=periods_s,
            progress=progress,
            program=_program(choices.program),
        )
        deeper = _deeper(verification, choices, periods_s, progress)
    if choices.trace is not None:
        _write_trace(verification.nominal, choices.trace)
    page = _write_report(verification, folder, deeper)
    if choices.json is not None:
        from homing.report.jsonform import verification_json

        hand_over_json(verification_json(verification) | deeper.document(), choices.json)
    if not choices.silent:
        _tell(verification, choices.quiet)
        deeper.tell(choices.quiet)
    deeper.keep(folder)
    if page is not None:
        click.echo(f"report: {page}", err=True)
        if choices.show:
            click.launch(page.resolve().as_uri())
    return 0 if verification.passed else 1


def _deeper(
    verification: Verification,
    choices: Choices,
    periods_s: NDArray[np.float64] | None,
    progress: Callable[[str, int, int], None],
) -> Deeper:
    """What is looked for beyond the ensemble, as far as it was asked for."""
    from homing.deeper import Deeper

    return Deeper.look(verification, choices, periods_s, progress)


def _single(lift: Lift, choices: Choices, periods_s: NDArray[np.float64] | None) -> int:
    from homing.progress import Progress
    from homing.results import Outcome
    from homing.verify import one_run

    assert choices.run is not None
    with Progress(shown=not choices.quiet):
        run = one_run(lift, choices.run, choices.seed, periods_s, _program(choices.program))
    if choices.trace is not None:
        _write_trace(run, choices.trace)
    if choices.json is not None:
        from homing.report.jsonform import run_json

        hand_over_json(run_json(run, lift), choices.json)
    if not choices.silent:
        _tell_run(run, choices.quiet)
    return 0 if run.outcome is Outcome.ZEROED else 1


def _program(command: str | None) -> Program | None:
    """The team's own program, its command line judged before anything is simulated."""
    if command is None:
        return None
    from homing.bridge.child import arguments
    from homing.bridge.controller import Program

    arguments(command)
    return Program(command)


@contextmanager
def _outputs(choices: Choices) -> Iterator[Path | None]:
    """Refuse what cannot be written, the trace too; give the folder of the report, if there is to be one."""
    from homing.outputs import checked_outputs
    from homing.report.files import check_file
    from homing.report.tracefile import SUFFIXES

    if choices.trace is not None:
        check_file(choices.trace, key="--trace", suffixes=SUFFIXES)
    with checked_outputs(choices.json, choices.out, choices.show) as folder:
        yield folder


def _write_report(verification: Verification, folder: Path | None, deeper: Deeper) -> Path | None:
    if folder is None:
        return None
    from homing.checklist import checklist
    from homing.report.page import write_report

    return write_report(verification, folder, checklist(verification), deeper.on_page())


def _write_trace(run: Run, file: str) -> None:
    from homing.report.tracefile import write_trace

    write_trace(run.trace, file)


def _tell(verification: Verification, quiet: bool) -> None:
    if quiet:
        click.echo(
            f"{verification.lift.name}: {verification.verdict}"
            + "".join(f"; {a}" for a in verification.advice[:1])
        )
        return
    from homing.report.terminal import console, show

    show(verification, console())


def _tell_run(run: Run, quiet: bool) -> None:
    if quiet:
        from homing.report.rows import run_line

        click.echo(run_line(run))
        return
    from homing.report.terminal import console, show_run

    show_run(run, console())
