"""What a person sees while a study runs: one bar on standard error, and why the first time takes longer."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

COMPILING = "compiling once, up to half a minute ..."


class Progress:
    """A bar on standard error, there only when a person watches.

    Call it with what is being run, the number of finished runs and of all runs.
    """

    def __init__(self, *, shown: bool) -> None:
        self._shown = shown
        self._bar: Bar | None = None
        self._tasks: dict[str, TaskID] = {}

    def __enter__(self) -> Progress:
        if self._shown and cache_is_cold():
            click.echo(COMPILING, err=True)
        if self._shown and sys.stderr.isatty():
            self._bar = _bar()
            self._bar.start()
        return self

    def __call__(self, what: str, done: int, total: int) -> None:
        """Move the bar of ``what``."""
        if self._bar is None:
            return
        if what not in self._tasks:
            self._tasks[what] = self._bar.add_task(what, total=total)
        self._bar.update(self._tasks[what], completed=done, total=total)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()


def cache_is_cold() -> bool:
    """True when the closed loop was not compiled yet on this machine, in this version."""
    from homing.kernel.build import SOURCES
    from sensor_models.compiled import cache_folder

    return not any(cache_folder(SOURCES).rglob("*.nbi"))


def _bar() -> Bar:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    return Bar(*columns, console=Console(stderr=True), transient=True)
