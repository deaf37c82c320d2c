"""``downstop verify``: options in, verdict out.

The flow of one call:

1. the options are held against each other, lift file and log are read, and every output is tried, so
   that nobody waits for a result that cannot be kept;
2. the study runs (``homing.verify``), or one run alone (``homing.simulate`` with ``--run``);
3. files are written whole, then the terminal table, then the verdict as exit code.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sensor_models.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from rich.console import Console

    from homing.bridge.controller import Program
    from homing.liftfile import Lift
    from homing.results import Run, Verification

#: Where the periods of a real log come from; named, not imported, since ``homing`` stands below ``replay``.
MEASURED_PERIODS = "replay.timing:measured_periods"
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
)


def _with_options(command: Callable[..., int]) -> Callable[..., int]:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.command()
@_with_options
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

    loaded = load_lift(lift if lift is not None else named)
    periods_s = _measured_periods(choices.timing_from, loaded)
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
    if choices.trace is not None:
        _write_trace(verification.nominal, choices.trace)
    page = _write_report(verification, folder)
    if choices.json is not None:
        from homing.report.jsonform import verification_json

        _write_json(verification_json(verification), choices.json)
    if not choices.silent:
        _tell(verification, choices.quiet)
    if page is not None:
        click.echo(f"report: {page}", err=True)
        if choices.show:
            click.launch(page.resolve().as_uri())
    return 0 if verification.passed else 1


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

        _write_json(run_json(run, lift), choices.json)
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
    """Refuse what cannot be written; give the folder of the report, if there is to be one.

    A folder that was made for a report which then cannot be had is taken away again.
    """
    from homing.report.files import check_file, check_folder
    from homing.report.tracefile import SUFFIXES

    if choices.json is not None and not choices.silent:
        check_file(choices.json, key="--json")
    if choices.trace is not None:
        check_file(choices.trace, key="--trace", suffixes=SUFFIXES)
    folder = Path(choices.out) if choices.out is not None else _passing_folder() if choices.show else None
    new = [each for each in (folder, *folder.parents) if not each.exists()] if folder is not None else []
    if folder is not None:
        check_folder(folder, key="--out")
    try:
        yield folder
    except BaseException:
        for each in new:
            with suppress(OSError):  # not empty: something was written, which stays
                each.rmdir()
        raise


def _passing_folder() -> Path:
    """A new folder for a report that is only to be looked at."""
    import tempfile

    return Path(tempfile.mkdtemp(prefix="downstop-"))


def _measured_periods(log: str | None, lift: Lift) -> NDArray[np.float64] | None:
    """Loop periods [s] measured in a log; its columns as the lift file's ``[log]`` says, if it does."""
    if log is None:
        return None
    module, _, name = MEASURED_PERIODS.partition(":")
    periods_s: NDArray[np.float64] = getattr(import_module(module), name)(log, lift.given.get("log"))
    return periods_s


def _write_report(verification: Verification, folder: Path | None) -> Path | None:
    if folder is None:
        return None
    from homing.report.page import write_report

    return write_report(verification, folder)


def _write_trace(run: Run, file: str) -> None:
    from homing.report.tracefile import write_trace

    write_trace(run.trace, file)


def _write_json(document: Any, file: str) -> None:
    from homing.report.files import write_text
    from homing.report.jsonform import to_text

    if file == STANDARD_OUTPUT:
        click.echo(to_text(document).encode(), nl=False)  # UTF-8 whatever the terminal's encoding
    else:
        write_text(file, to_text(document), key="--json")


def _tell(verification: Verification, quiet: bool) -> None:
    if quiet:
        click.echo(
            f"{verification.lift.name}: {verification.verdict}"
            + "".join(f"; {a}" for a in verification.advice[:1])
        )
        return
    from homing.report.terminal import show

    show(verification, _console())


def _tell_run(run: Run, quiet: bool) -> None:
    if quiet:
        from homing.report.rows import run_line

        click.echo(run_line(run))
        return
    from homing.report.terminal import show_run

    show_run(run, _console())


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False)
