"""Bars of millimetres: where they were spent in the bad visit, and what each change would leave of them."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from homing.report.figures.style import BLUE, GREY, INK, ORANGE, PAPER, SKY, figure, grid, look
from replay.budget import PART_WORDS
from replay.diagnosis import Diagnosis

if TYPE_CHECKING:
    from replay.what_if import WhatIf, WhatIfs

_LIMIT = (0, (8, 3))
#: Changes are told in lines of at most this many letters.
LETTERS = 44
#: Marker and filling for prevented, not prevented, cannot say: apart without colour.
_LOOKS: dict[bool | None, tuple[str, str, str]] = {
    True: ("o", INK, "prevented"),
    False: ("X", PAPER, "not prevented"),
    None: ("D", SKY, "cannot say"),
}


def budget(diagnosis: Diagnosis) -> Figure | None:
    """Draw the stop budget as steps from the trip to the standstill; None without a bad visit."""
    parts = diagnosis.budget
    if not parts:
        return None
    with look():
        made = figure(0.36 * len(parts) + 1.2)
        axes = made.subplots()
        begin = 0.0
        for place, part in enumerate(parts):
            end = begin + part.mm
            axes.barh(
                place, part.mm, left=begin, height=0.56, color=BLUE if part.mm >= 0 else SKY, ec=INK, lw=0.7
            )
            spread = [[max(0.0, part.mm - part.low)], [max(0.0, part.high - part.mm)]]
            axes.errorbar([end], [place], xerr=spread, color=ORANGE, capsize=3.5, lw=1.3)
            reach = begin + max(part.high, part.mm, 0.0)
            axes.annotate(f"{part.mm:.1f}", (reach, place), xytext=(6, 0), textcoords="offset points",
                          va="center", fontsize=8)  # fmt: skip
            axes.plot([end, end], [place + 0.28, place + 0.72], color=GREY, lw=0.8, ls=(0, (1, 1.5)))
            begin = end
        axes.barh(len(parts), begin, height=0.56, color=PAPER, ec=INK, lw=1.2, hatch="////")
        axes.annotate(f"{begin:.1f}", (max(begin, 0), len(parts)), xytext=(6, 0), textcoords="offset points",
                      va="center", fontsize=8, fontweight="bold")  # fmt: skip
        _rows(axes, [*(PART_WORDS[part.part] for part in parts), "overtravel"])
        _limit(axes, diagnosis.limit_mm, diagnosis.scaled)
        axes.set_xlim(min(0.0, axes.get_xlim()[0]), axes.get_xlim()[1] * 1.07)
    return made


def what_if(found: WhatIfs | None, diagnosis: Diagnosis) -> Figure | None:
    """Draw the overtravel after each change with its interval; None where nothing was simulated."""
    if found is None:
        return None
    each = (found.as_it_was, *found.changes)
    words = [textwrap.fill(one.change, LETTERS) for one in each]
    lines = sum(max(1.15, text.count("\n") + 1) for text in words)
    with look():
        made = figure(0.2 * lines + 1.3)
        axes = made.subplots()
        place, places = 0.0, []
        for number, (one, text) in enumerate(zip(each, words, strict=True)):
            tall = max(1.15, text.count("\n") + 1)
            places.append(place + tall / 2)
            _draw_change(axes, one, places[-1], first=number == 0)
            place += tall
        bad = diagnosis.bad_visit
        if bad is not None:
            axes.axvline(bad.overtravel, color=GREY, lw=1.2, ls=(0, (1, 1.5)))
        axes.axhline(max(1.15, words[0].count("\n") + 1), color=GREY, lw=0.6)
        _rows(axes, words, places)
        axes.set_ylim(place, 0)
        _limit(axes, diagnosis.limit_mm, diagnosis.scaled)
        made.legend(handles=_legend(bad is not None), loc="outside upper left", ncols=5, handletextpad=0.5,
                    columnspacing=1.2)  # fmt: skip
    return made


def _draw_change(axes: Axes, one: WhatIf, place: float, *, first: bool) -> None:
    shape, fill, _ = _LOOKS[one.prevented]
    if first:
        shape, fill = "s", GREY
    axes.plot([one.low, one.high], [place, place], color=INK, lw=1.3, marker="|", ms=7)
    axes.plot([one.overtravel_mm], [place], marker=shape, mfc=fill, mec=INK, ms=7, ls="none", zorder=4)


def _legend(logged: bool) -> list[Line2D]:
    handles = [
        Line2D([], [], marker=shape, mfc=fill, mec=INK, ms=7, ls="none", label=words)
        for shape, fill, words in _LOOKS.values()
    ]
    handles.append(Line2D([], [], marker="s", mfc=GREY, mec=INK, ms=7, ls="none", label="as it was"))
    if logged:
        handles.append(Line2D([], [], color=GREY, lw=1.2, ls=(0, (1, 1.5)), label="logged"))
    return handles


def _rows(axes: Axes, words: list[str], places: list[float] | None = None) -> None:
    axes.set_yticks(range(len(words)) if places is None else places, words)
    if places is None:
        axes.set_ylim(len(words) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.axvline(0, color=INK, lw=0.9)
    grid(axes, "x")


def _limit(axes: Axes, limit: float, scaled: bool) -> None:
    axes.set_xlabel("mm past the trip" if scaled else "counts past the trip")
    if not scaled:
        return
    axes.axvline(limit, color=INK, lw=1.2, ls=_LIMIT)
    axes.annotate(f"limit {limit:g}", (limit, 0), xycoords=("data", "axes fraction"), xytext=(3, 3),
                  textcoords="offset points", fontsize=7.5)  # fmt: skip
