"""Results printed in a terminal: verdict first, then tables which can be read aloud, within 100 columns.

Nothing is said by colour alone: a requirement that falls short says FAILS, an unsafe fault is written in
capitals. On a terminal without Unicode the bars are drawn with plain signs, and on one narrower than
the widest table the least needed columns are left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import TYPE_CHECKING, TextIO

from rich.box import ASCII2, SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from homing.report.numbers import MISSING, measure, plain, setting
from homing.report.rows import (
    budget_rows,
    coverage_line,
    fault_rows,
    headline,
    longest_stop,
    metric_rows,
    outcome_rows,
    reason_rows,
    requirement_rows,
    room_line,
    run_line,
)

if TYPE_CHECKING:
    from homing.assumed import Assumed
    from homing.results import Run, SensorView, Verification

WIDEST = 100
_NARROW = 96
_BAR_COLUMNS = 44


class Screen(Console):
    """A console that lets the program say how it leaves when the reader of its output has left."""

    def on_broken_pipe(self) -> None:
        """Raise, where a console as it comes would leave with the exit code of a verdict."""
        raise BrokenPipeError


def console(stream: TextIO | None = None) -> Console:
    """Console of the terminal's width; 100 columns where the output is no terminal but a file or a pipe."""
    made = Screen(file=stream, highlight=False)
    return made if made.is_terminal else Screen(file=stream, highlight=False, width=WIDEST)


def show(verification: Verification, console: Console) -> None:
    """Print everything ``verify`` found; the verdict comes first and once more at the end."""
    _verdict(verification, console)
    _lines(console, "Advice", verification.advice)
    _requirements(verification, console)
    _outcomes(verification, console)
    if verification.sensor is not None:
        _sensor(verification.sensor, console)
    _heading(console, run_line(verification.nominal))
    _budget(verification.nominal, console)
    _faults(verification, console)
    _assumed(verification.assumed, console)
    _lines(console, "Notes", verification.notes)
    _lines(console, "Cautions", verification.cautions)
    console.print()
    _verdict(verification, console)


def show_run(run: Run, console: Console) -> None:
    """Print one run alone: how it ended, its metrics and where its longest stop went."""
    _say(console, run_line(run), "bold")
    table = _table(console, "metric<", "value>", "meaning<")
    for title, value, meaning in metric_rows(run):
        table.add_row(title, value, Text(meaning, style="dim"))
    _print(console, table)
    console.print()
    _budget(run, console)


def _print(console: Console, thing: Table | Text) -> None:
    console.print(thing, width=min(WIDEST, console.width))


def _say(console: Console, text: str, style: str = "") -> None:
    _print(console, Text(text, style=style))


def _heading(console: Console, text: str) -> None:
    console.print()
    _say(console, text, "bold")


def _unicode(console: Console) -> bool:
    return console.encoding.lower().startswith("utf")


def _table(console: Console, *columns: str) -> Table:
    """Table whose column names end in their side: ``<`` left, ``>`` right."""
    box = SIMPLE_HEAD if _unicode(console) else ASCII2
    table = Table(box=box, pad_edge=False, padding=(0, 1, 0, 0), header_style="", show_edge=False)
    for name in columns:
        number = name.endswith(">")
        table.add_column(name[:-1], justify="right" if number else "left", no_wrap=number, overflow="fold")
    return table


def _verdict(verification: Verification, console: Console) -> None:
    line = Text(verification.verdict.upper(), style="bold green" if verification.passed else "bold red")
    line.append(f"  {verification.lift.name}: {headline(verification)}", style="bold")
    _print(console, line)


def _lines(console: Console, heading: str, lines: Iterable[str]) -> None:
    lines = tuple(lines)
    if not lines:
        return
    _heading(console, heading)
    for line in lines:
        table = Table.grid(padding=(0, 1, 0, 0))
        table.add_row("-", Text(line))
        _print(console, table)


def _requirements(verification: Verification, console: Console) -> None:
    rows = requirement_rows(verification)
    if not rows:
        return
    names = ["limit", "nominal", "median", "95 %", "99 %", "worst", "margin"]
    if console.width < _NARROW:
        names = [name for name in names if name not in ("median", "95 %")]
    level = f"{100 * verification.requirements[0].confidence:.0f} %"
    _heading(console, f"Requirements over {len(verification.ensemble)} runs (bounds are {level} sure)")
    table = _table(console, "requirement<", *(name + ">" for name in names), "fails in (bounds)<", "verdict<")
    for row in rows:
        values = {"limit": row.limit, "nominal": row.nominal, "median": row.median, "95 %": row.p95}
        values |= {"99 %": row.p99, "worst": row.worst, "margin": row.margin}
        table.add_row(
            f"{row.title}, {row.unit}" if row.unit else row.title,
            *(values[name] for name in names),
            f"{row.failure} ({row.bounds})",
            Text(row.verdict, style="green" if row.passed else "bold red"),
        )
    _print(console, table)
    _lines(console, "Why", (f"{row.title}: {row.why}" for row in rows if row.why))


def _outcomes(verification: Verification, console: Console) -> None:
    _heading(console, "How the runs ended")
    table = _table(console, "outcome<", "runs>", "share>", "meaning<")
    for word, count, share, meaning in outcome_rows(verification):
        table.add_row(word, str(count), share, meaning)
    _print(console, table)
    reasons = "; ".join(f"{text} ({count})" for text, count in reason_rows(verification))
    if reasons:
        _say(console, f"Reasons given by runs which stopped themselves: {reasons}.")
    scatter = measure(verification.zero_scatter_mm, "mm", 2)
    _say(console, f"Zero scatter (standard deviation of the zero error): {scatter}.")


def _sensor(view: SensorView, console: Console) -> None:
    low, high = view.trip_band_mm
    others = ", ".join(f"{plain(a, 1)} to {plain(b, 1)}" for a, b in view.zones_mm[1:])
    lines = [
        f"trips at {plain(view.trip_mm, 2)} mm on the way in ({plain(low, 2)} to {plain(high, 2)} mm over "
        f"the tolerances), lets go at {plain(view.release_mm, 2)} mm on the way out",
        f"made from {plain(view.window_mm[0], 1)} to {plain(view.window_mm[1], 1)} mm; other places where it "
        f"would be made: {others + ' mm' if others else MISSING}",
    ]
    if view.miss:
        lines.append(view.miss)
    _lines(console, f"Sensor {view.name} ({view.kind})", lines)


def _budget(run: Run, console: Console) -> None:
    stop = longest_stop(run)
    if stop is None:
        _say(console, "It never stopped on the sensor, so there is no stop budget.")
        return
    rows = budget_rows(stop.budget_mm)
    table = _table(console, "stop budget<", "mm>", "from the trip height downwards<")
    marks = [place for row in rows for place in (row.start_mm, row.end_mm)] + [0.0]
    for row in rows:
        bar = _bar(row.start_mm, row.end_mm, min(marks), max(marks), _unicode(console))
        table.add_row(row.title, plain(row.mm, 2), bar)
    table.add_row("stop distance", plain(stop.distance_mm, 2), "", style="bold")
    _print(console, table)
    _say(console, room_line(run, stop))


def _bar(start: float, end: float, low: float, high: float, fine: bool) -> str:
    """Bar from start to end on a line from low to high; a part that goes back up has its own sign."""
    scale = (_BAR_COLUMNS - 1) / (high - low) if high > low else 0.0
    first, last = (round((place - low) * scale) for place in sorted((start, end)))
    down, up, none = ("█", "▒", "▏") if fine else ("#", "<", "|")
    return " " * first + ((down if end >= start else up) * (last - first) or none)


def _faults(verification: Verification, console: Console) -> None:
    if not verification.faults:
        return
    wide = console.width >= _NARROW
    runs = min(fault.runs for fault in verification.faults)
    _heading(console, f"Faults, at least {runs} runs each; worst outcome and lengths (mm) of any of them")
    shares = ("zeroed>", "faulted>", "unsafe>")
    table = _table(console, "fault<", "worst<", *shares, "over-\ntravel>", "slack>", "zero\nerror>")
    if wide:
        table.add_column("most common reason", overflow="fold")
    for row in fault_rows(verification):
        unsafe = row.outcome == "unsafe"
        table.add_row(
            row.fault,
            Text(row.outcome.upper() if unsafe else row.outcome, style="bold" if unsafe else ""),
            *(share.replace(" %", "%") for share in (row.zeroed, row.faulted, row.unsafe)),
            *(row.overtravel, row.slack, row.zero_error),
            *((row.reason,) if wide else ()),
        )
    _print(console, table)
    missed = sum(not fault.detected for fault in verification.faults)
    _say(console, f"{coverage_line(verification)} Faults with an unsafe run: {missed or 'none'}.")


def _assumed(assumed: tuple[Assumed, ...], console: Console) -> None:
    """Assumed values by section; the section is said once, so that the origins have room."""
    if not assumed:
        return
    _heading(console, f"Assumed, because the lift file does not say ({len(assumed)} values)")
    table = _table(console, "key<", "value<", "origin<")
    table.columns[0].no_wrap = True
    table.columns[1].max_width = 18
    for section, items in groupby(assumed, key=lambda item: item.key.rpartition(".")[0]):
        table.add_row(Text(f"[{section}]", style="bold"))
        for item in items:
            table.add_row("  " + item.key.rpartition(".")[2], Text(setting(item.value)), Text(item.origin))
    _print(console, table)
