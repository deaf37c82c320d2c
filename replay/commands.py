"""``downstop replay``: logs in, what is in them out.

The flow of one call: options and outputs are tried, the lift file and the column map are read, every log
is read, summed up and diagnosed, files are written whole, then the text is printed, the verdict first.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.progress import Progress
    from replay.columns import LogColumns
    from replay.diagnosis import Diagnosis
    from replay.report.analysis import Analysis
    from replay.summary import Summary
    from replay.what_if_study import WhatIfs

STANDARD_OUTPUT = "-"

#: Said where someone is about to change the lift.
FIRST = (
    "Advice from a model, never a certificate. Before the lift moves again: power off, unload the string by\n"
    "hand, then try the change at low power over a short travel with a soft block under the carriage."
)


@dataclass(frozen=True, kw_only=True)
class Choices:
    """The options of one call."""

    lift: str | None
    columns: str | None
    limit: float | None
    json: str | None
    out: str | None
    show: bool
    seed: int
    workers: int | None
    quiet: bool
    fail_on_overrun: bool

    @property
    def silent(self) -> bool:
        """True when nothing but the JSON may go to standard output."""
        return self.quiet or self.json == STANDARD_OUTPUT

    def check(self) -> None:
        """Refuse what cannot be answered, and outputs that cannot be written."""
        if self.limit is not None and not 0 < self.limit < float("inf"):
            raise InputError("must be a number of millimetres above 0", key="--limit", got=self.limit)
        from homing.report.files import check_file, check_folder

        if self.json is not None and self.json != STANDARD_OUTPUT:
            check_file(self.json, key="--json")
        if self.out is not None:
            check_folder(self.out, key="--out")


_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.argument("logs", nargs=-1, required=True, metavar="LOG..."),
    click.option("--lift", metavar="LIFT", help="Lift file: scale, and the columns in its [log] section."),
    click.option("--columns", metavar="MAP.toml", help="TOML file with a [log] section; goes first."),
    click.option(
        "--limit", type=float, metavar="MM", help="Overtravel limit; without it the lift file's, or 15."
    ),
    click.option("--json", "json", metavar="FILE", help="Write the result as JSON; - is standard output."),
    click.option("--out", metavar="DIR", help="Write a report with figures into this folder."),
    click.option("--open", "show", is_flag=True, help="Show the report when it is ready."),
    click.option(
        "--seed", type=click.IntRange(0, 2**63 - 1), default=0, help="Seed of the draws of what-if."
    ),
    click.option("--workers", type=click.IntRange(1, 1024), help="Cores to use (one log needs one)."),
    click.option("--quiet", is_flag=True, help="Print nothing but errors."),
    click.option("--fail-on-overrun", is_flag=True, help="Exit 1 when a log shows an overrun."),
)


def _with_options(command: Callable[..., int]) -> Callable[..., int]:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.command()
@_with_options
def replay(logs: tuple[str, ...], **options: Any) -> int:
    """Read logs of a real lift, find every arrival at the bottom and explain an overrun.

    LOG is CSV or TSV, JSON lines, Parquet or MCAP. The verdict comes first, then the bad visit, the best two
    causes with the rows for and against them, the stop budget, and what is in the log itself. Exit code 0:
    analysed; 1: an overrun, with --fail-on-overrun; 2: the input cannot be used.
    """
    choices = Choices(**options)
    from homing.outputs import checked_outputs

    with checked_outputs(choices.json, choices.out, False):
        choices.check()
        return _replayed(logs, choices)


def _replayed(logs: tuple[str, ...], choices: Choices) -> int:
    """Read, diagnose, write, tell; the exit code."""
    from replay.diagnosis import Verdict
    from replay.diagnosis_text import diagnosis_text
    from replay.documents import analyses, document
    from replay.plain_text import visible
    from replay.summary import log_text

    lift = _lift(choices.lift)
    from homing.progress import Progress

    with Progress(shown=not choices.silent) as progress:
        summaries, diagnoses = _read(logs, lift, choices, progress)
        studies = _studies(diagnoses, lift, choices.seed, progress)
    page = _write(
        lambda: analyses(summaries, diagnoses, lift, studies),
        lambda: document(summaries, diagnoses, studies, lift),
        choices,
    )
    if not choices.silent:
        texts = [
            f"{diagnosis_text(found)}\n\n{_prevention_text(study, lift)}{log_text(summary)}"
            for summary, found, study in zip(summaries, diagnoses, studies, strict=True)
        ]
        click.echo(visible("\n\n".join([*texts, *_comparison_text(diagnoses)])))
    if page is not None:
        if not choices.quiet:
            click.echo(f"report: {page}", err=True)
        if choices.show:
            click.launch(page.as_uri())
    overran = any(found.verdict is Verdict.OVERRUN for found in diagnoses)
    return 1 if choices.fail_on_overrun and overran else 0


def _studies(
    diagnoses: Sequence[Diagnosis], lift: Lift | None, seed: int, progress: Progress
) -> list[WhatIfs | None]:
    """What would have prevented each overrun; nothing heavy is loaded where there is none."""
    from replay.diagnosis import Verdict

    if lift is None or all(found.verdict is not Verdict.OVERRUN for found in diagnoses):
        return [None] * len(diagnoses)
    from replay.prevention import prevention

    studies = []
    for number, found in enumerate(diagnoses):
        progress("what would have prevented it", number, len(diagnoses))
        studies.append(prevention(found, lift, seed))
    return studies


def _comparison_text(diagnoses: Sequence[Diagnosis]) -> list[str]:
    """Before and after in words, where there is more than one log."""
    if len(diagnoses) < 2:
        return []
    from replay.compare_logs import compare_logs

    found = compare_logs(diagnoses)
    return [
        "\n".join(
            ["before and after", f"  {found.headline}", *(f"  note: {each}" for each in found.warnings)]
        )
    ]


def _prevention_text(study: WhatIfs | None, lift: Lift | None) -> str:
    if study is None:
        return "" if lift is not None else "what would have prevented it: give a lift file (--lift)\n\n"
    from replay.what_if_report import what_if_text

    return f"what would have prevented it\n{what_if_text(study)}\n{FIRST}\n\n"


def _read(
    logs: Sequence[str], lift: Lift | None, choices: Choices, progress: Progress
) -> tuple[list[Summary], list[Diagnosis]]:
    from replay.diagnosing import diagnose
    from replay.reading import read_log
    from replay.summary import Summary

    columns = _columns(choices.columns, lift)
    summaries, diagnoses = [], []
    for number, path in enumerate(logs):
        progress("reading and explaining", number, len(logs))
        log = read_log(path, columns)
        found = diagnose(log, lift, choices.limit)
        summaries.append(Summary.of(found.log))
        diagnoses.append(found)
    return summaries, diagnoses


def _lift(path: str | None) -> Lift | None:
    if path is None:
        return None
    from homing.liftfile import load_lift

    return load_lift(path)


def _columns(path: str | None, lift: Lift | None) -> LogColumns | None:
    from replay.columns import LogColumns

    if path is not None:
        return LogColumns.from_file(path)
    if lift is None or not lift.log:
        return None
    return LogColumns.from_lift(lift.log, Path(lift.source).name)


def _write(
    to_draw: Callable[[], Sequence[Analysis]], to_write: Callable[[], dict[str, Any]], choices: Choices
) -> Path | None:
    """Report and JSON where they are asked for; otherwise neither is made."""
    from homing.report.files import write_text
    from homing.report.jsonform import to_text

    page = None
    folder = choices.out
    if folder is None and choices.show:
        import tempfile

        folder = tempfile.mkdtemp(prefix="downstop-")
    found = {} if folder is None and choices.json is None else to_write()
    if folder is not None:
        from replay.report.page import write_report

        page = write_report(to_draw(), found, folder)
    if choices.json == STANDARD_OUTPUT:
        click.echo(to_text(found), nl=False)
    elif choices.json is not None:
        write_text(choices.json, to_text(found), key="--json")
    return page
