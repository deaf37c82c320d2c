"""A tuning printed in a terminal: verdict first, then tables within 100 columns."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from rich.box import ASCII2, SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from homing.report.terminal import WIDEST
from homing.report.tune_rows import (
    again,
    compared_rows,
    figure_rows,
    front_rows,
    headline,
    search_line,
    setting_rows,
)
from homing.report.tune_words import paces
from homing.tuning.results import Tuning


def show_tuning(tuning: Tuning, written: Path | None, console: Console) -> None:
    """Print everything ``tune`` found."""
    _verdict(tuning, console)
    _say(console, search_line(tuning))
    _settings(tuning, console)
    _compared(tuning, console)
    _front(tuning, console)
    _lines(console, "Notes", tuning.notes)
    _lines(console, "Cautions: the first run on the robot", tuning.cautions)
    console.print()
    _verdict(tuning, console)
    if written is None:
        _say(console, "No lift file was written.")
    else:
        _say(console, f"Wrote {written}; the old file is as it was. Confirm it again with: ")
        _say(console, f"  {again(tuning, written)}")


def _verdict(tuning: Tuning, console: Console) -> None:
    line = Text("FOUND" if tuning.found else "NONE", style="bold green" if tuning.found else "bold red")
    line.append(f"  {tuning.lift.name}: {headline(tuning)}", style="bold")
    _print(console, line)


def _settings(tuning: Tuning, console: Console) -> None:
    _heading(console, f"Settings (how far each may stray alone: on {tuning.drift_runs} of the fresh runs)")
    table = _table(console, "setting<", "before>", "after>", "how<", "holds down to<", "holds up to<")
    for row in setting_rows(tuning):
        unit = f", {row.unit}" if row.unit else ""
        table.add_row(f"{row.title}{unit}", row.before, row.after, row.how, row.low, row.high)
    _print(console, table)


def _compared(tuning: Tuning, console: Console) -> None:
    _heading(
        console, f"Before and after, on the same {tuning.runs} fresh runs (99 % of them keep the figure)"
    )
    names = ("limit>", "before>", "after>", "margin\nbefore>", "margin\nafter>")
    table = _table(console, "requirement<", *names, "failed\nbefore<", "failed\nafter<", "after<")
    for row in compared_rows(tuning):
        table.add_row(
            (f"{row.title}, {row.unit}" if row.unit else row.title) + (" *" if row.active else ""),
            *(row.limit, row.before, row.after, row.before_margin, row.after_margin),
            *(row.before_failures, row.after_failures),
            Text(row.after_verdict, style="green" if row.after_verdict == "holds" else "bold red"),
        )
    for title, before, after in figure_rows(tuning):
        table.add_row(title, "", before, after)
    _print(console, table)
    _say(console, "* the active requirement: the one with the least margin among those that settings move.")
    _lines(console, "Why", (f"{row.title}: {row.why}" for row in compared_rows(tuning) if row.why))


def _front(tuning: Tuning, console: Console) -> None:
    if not tuning.front:
        return
    _heading(
        console, f"Front: the most margin for each time ({tuning.front_runs} runs each, not yet fresh ones)"
    )
    ways = paces(tuning)
    table = _table(
        console,
        *("time, s>", "99 %, s>", "overtravel\n99 %, mm>", "margin>", "active<"),
        *(f"{heading}>" for _, heading in ways),
    )
    leaders = [keys[0] for keys in tuning.groups]
    for row in front_rows(tuning):
        table.add_row(*row[:5], *(row[5 + leaders.index(key)] for key, _ in ways))
    _print(console, table)


def _print(console: Console, thing: Table | Text) -> None:
    console.print(thing, width=min(WIDEST, console.width))


def _say(console: Console, text: str, style: str = "") -> None:
    _print(console, Text(text, style=style))


def _heading(console: Console, text: str) -> None:
    console.print()
    _say(console, text, "bold")


def _lines(console: Console, heading: str, lines: Iterable[str]) -> None:
    told = tuple(lines)
    if not told:
        return
    _heading(console, heading)
    for line in told:
        table = Table.grid(padding=(0, 1, 0, 0))
        table.add_row("-", Text(line))
        _print(console, table)


def _table(console: Console, *columns: str) -> Table:
    """Table whose column names end in their side: ``<`` left, ``>`` right."""
    box = SIMPLE_HEAD if console.encoding.lower().startswith("utf") else ASCII2
    table = Table(box=box, pad_edge=False, padding=(0, 1, 0, 0), header_style="", show_edge=False)
    for name in columns:
        number = name.endswith(">")
        table.add_column(name[:-1], justify="right" if number else "left", no_wrap=number, overflow="fold")
    return table
