"""A comparison printed in a terminal: who comes first, the ranked table, reasons, advice; 100 columns.

Nothing is said by colour alone, and on a narrow terminal the least needed columns are left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich.box import ASCII2, SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from homing.report import compare_rows as rows
from homing.report.numbers import plain
from homing.report.terminal import WIDEST

if TYPE_CHECKING:
    from homing.compare.results import Comparison, MountAdvice

KEY = (
    "seen: probability that one pass is noticed. room: left to the hard stop in the worst run. "
    "margin: of the tightest requirement that hangs on the sensor, share of its limit."
)
#: A candidate's name gets at least so many columns.
NAME_COLUMNS = 17
#: Narrower than this some columns are left out.
NARROW = 96
#: Columns left out there.
LESS_NEEDED = ("kind", "room")


def show(comparison: Comparison, console: Console) -> None:
    """Print everything ``compare`` found; the outcome comes first and once more at the end."""
    _say(console, rows.headline(comparison), "bold")
    _ranking(comparison, console)
    _reasons(comparison, console)
    if comparison.advice is not None:
        _advice(comparison.advice, console)
    _list(console, "Notes", comparison.notes)
    _list(console, "Cautions", comparison.cautions)
    console.print()
    _say(console, rows.headline(comparison), "bold")


def _say(console: Console, text: str, style: str = "") -> None:
    console.print(Text(text, style=style), width=min(WIDEST, console.width))


def _print(console: Console, table: Table) -> None:
    console.print(table, width=min(WIDEST, console.width))


def _list(console: Console, heading: str, lines: Iterable[str]) -> None:
    lines = tuple(lines)
    if not lines:
        return
    console.print()
    _say(console, heading, "bold")
    table = Table.grid(padding=(0, 1, 0, 0))
    for line in lines:
        table.add_row("-", Text(line))
    _print(console, table)


def _table(console: Console) -> Table:
    box = SIMPLE_HEAD if console.encoding.lower().startswith("utf") else ASCII2
    return Table(box=box, pad_edge=False, padding=(0, 1, 0, 0), header_style="", show_edge=False)


def _ranking(comparison: Comparison, console: Console) -> None:
    speed = comparison.best.lift.routine.fast_speed_mm_s
    console.print()
    _say(
        console,
        f"Candidates over {comparison.runs} runs each, approach at {speed:g} mm/s; lengths in mm",
        "bold",
    )
    table = _table(console)
    wide = console.width >= NARROW
    for row in rows.candidate_rows(comparison):
        cells: dict[str, str | Text] = {
            "": row.rank,
            "candidate": row.name,
            "kind": row.kind,
            "mount": row.mount,
            "trips (95 % band)": f"{row.trip} ({row.trip_band})" if row.trip_band else row.trip,
            "seen": row.seen,
            "room": row.room,
            "margin": row.margin,
            "verdict": Text(row.verdict, style="green" if row.passed else "bold red"),
        }
        shown = {name: cell for name, cell in cells.items() if wide or name not in LESS_NEEDED}
        if not table.columns:
            _add_columns(table, tuple(shown))
        table.add_row(*shown.values())
    _print(console, table)
    _say(console, KEY, "dim")


def _add_columns(table: Table, names: tuple[str, ...]) -> None:
    words = ("candidate", "kind", "verdict")
    for name in names:
        # a long name is folded, never so narrow that it cannot be read
        least = NAME_COLUMNS if name == "candidate" else None
        table.add_column(
            name,
            justify="left" if name in words else "right",
            no_wrap=name != "candidate",
            min_width=least,
            overflow="fold",
        )


def _reasons(comparison: Comparison, console: Console) -> None:
    lines = []
    for row in rows.candidate_rows(comparison):
        lines.append(f"{row.rank} {row.name}: {'; '.join((row.why, *row.remarks))}.")
    _list(console, "Why", lines)


def _advice(advice: MountAdvice, console: Console) -> None:
    _list(console, f"Mounting advice for {advice.sensor}", advice.sentences)
    if not advice.terms:
        return
    console.print()
    _say(console, f"What a stop from {advice.speed_mm_s:g} mm/s needs, every term at its longest", "bold")
    table = _table(console)
    for name, side in (
        ("term", "left"),
        ("mm", "right"),
        ("formula (keys of the lift file, v speed)", "left"),
    ):
        table.add_column(name, justify=side)  # type: ignore[arg-type]
    *needed, margin = rows.term_rows(advice)
    for row in needed:
        table.add_row(row.name, row.mm, row.formula)
    table.add_row("needed", plain(advice.needed_mm, 2), "", style="bold")
    table.add_row(margin.name, margin.mm, margin.formula)
    _print(console, table)
