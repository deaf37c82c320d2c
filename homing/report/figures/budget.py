"""Where the millimetres of a stop went: one stacked bar a stop, from the trip height downwards."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from homing.report import wording
from homing.report.figures.style import BLUE, GREY, INK, ORANGE, PAPER, SAND, SKY, figure, grid, look
from homing.report.numbers import plain
from homing.results import BUDGET_PARTS, Run, Stop

#: Fill and hatching of the parts, in the order of ``BUDGET_PARTS``.
_LOOKS = (
    (PAPER, ""),
    (SKY, ""),
    (SAND, "||||"),
    (ORANGE, ""),
    (PAPER, "////"),
    (BLUE, ""),
    (GREY, "xxxx"),
)
#: A part longer than this share of the axis has its millimetres written on it.
_WRITTEN = 0.05

#: A triangle pointing back up the travel, with a pale rim so that it shows on a dark bar.
_HARD_STOP: dict[str, Any] = {
    "marker": 8, "color": INK, "markeredgecolor": PAPER, "markeredgewidth": 0.8, "ms": 8, "ls": "none",
    "zorder": 6,
}  # fmt: skip


def stop_budget(runs: Sequence[Run]) -> Figure:
    """Draw every stop of the first run and the longest stop of the others."""
    bars = _bars(runs)
    with look():
        made = figure(0.42 * max(1, len(bars)) + 1.5)
        axes = made.subplots()
        right = _right_end([stop for _, stop in bars])
        for row, (_, stop) in enumerate(bars):
            _draw_stop(axes, row, stop, right)
        axes.set_yticks(range(len(bars)), [label for label, _ in bars])
        axes.set_ylim(len(bars) - 0.4, -0.6)
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("mm below the trip height")
        axes.axvline(0, color=INK, lw=0.9)
        grid(axes, "x")
        axes.set_xlim(-0.03 * right + _left_end([stop for _, stop in bars]), right)
        made.legend(handles=_legend(bars), loc="outside upper left", ncols=4)
    return made


def _bars(runs: Sequence[Run]) -> list[tuple[str, Stop]]:
    bars: list[tuple[str, Stop]] = []
    for number, run in enumerate(runs):
        who = "nominal" if run.index is None else f"run {run.index}"
        if number == 0:
            bars += [(f"{who}, stop {k}", stop) for k, stop in enumerate(run.stops, 1)]
        elif run.stops:
            bars.append((f"{who}, longest", max(run.stops, key=lambda stop: stop.distance_mm)))
    return bars


def _left_end(stops: Sequence[Stop]) -> float:
    return min((sum(mm for mm in stop.budget_mm.values() if mm < 0) for stop in stops), default=0.0)


def _right_end(stops: Sequence[Stop]) -> float:
    """Room for the longest bar, its label, and the hard stop unless that is far away."""
    longest = max((sum(mm for mm in stop.budget_mm.values() if mm > 0) for stop in stops), default=1.0)
    nearest = min((stop.trip_mm for stop in stops if stop.trip_mm > 0), default=0.0)
    return max(1.25 * longest, min(1.1 * nearest, 2.0 * longest), 0.1)


def _draw_stop(axes: Axes, row: int, stop: Stop, right: float) -> None:
    down, up = 0.0, 0.0
    for part, (fill, hatch) in zip(BUDGET_PARTS, _LOOKS, strict=True):
        mm = stop.budget_mm.get(part, 0.0)
        if mm == 0.0:
            continue
        # parts which give millimetres back are stacked above the trip height, so that none hides another
        left = down if mm > 0 else up
        axes.barh(row, mm, left=left, height=0.5, color=fill, hatch=hatch, edgecolor=INK, linewidth=0.7)
        if abs(mm) > _WRITTEN * right:
            _write(axes, left + mm / 2, row, plain(mm, 1))
        down, up = (down + mm, up) if mm > 0 else (down, up + mm)
    axes.plot([stop.distance_mm] * 2, [row - 0.36, row + 0.36], color=INK, lw=2.2)
    _beside(axes, max(down, stop.distance_mm), row, f"{plain(stop.distance_mm, 1)} mm", "left")
    if stop.trip_mm <= right:
        axes.plot(stop.trip_mm, row, **_HARD_STOP)
    else:
        _beside(axes, right, row, f"hard stop at {plain(stop.trip_mm, 1)} mm →", "right")


def _beside(axes: Axes, x: float, y: float, text: str, side: str) -> None:
    away = (5 if side == "left" else -2, 0)
    axes.annotate(text, (x, y), xytext=away, textcoords="offset points", ha=side, va="center", fontsize=8)


def _write(axes: Axes, x: float, y: float, text: str) -> None:
    paper = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
    axes.text(x, y, text, ha="center", va="center_baseline", fontsize=7, bbox=paper)


def _legend(bars: Sequence[tuple[str, Stop]]) -> list[object]:
    from matplotlib.lines import Line2D

    spent = {part for _, stop in bars for part, mm in stop.budget_mm.items() if mm}
    handles: list[object] = [
        Patch(facecolor=fill, hatch=hatch, edgecolor=INK, linewidth=0.7, label=wording.BUDGET[part].title)
        for part, (fill, hatch) in zip(BUDGET_PARTS, _LOOKS, strict=True)
        if part in spent
    ]
    handles.append(Line2D([], [], color=INK, lw=2.2, label="stop distance"))
    handles.append(Line2D([], [], **_HARD_STOP, label="hard stop"))
    return handles
