"""The visit in question, close: height, reading, command, current, battery, loops and states.

The rows in which the cause acted are shaded in every panel; the passing of the trip, the first made
reading and the standstill are lines through all of them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from homing.report.figures.style import BLUE, GREY, INK, ORANGE, SAND, figure, grid, look
from replay.diagnosis import Diagnosis
from replay.report.figures import panels
from replay.report.figures.panels import View
from replay.track import Track
from replay.units import Role

Floats = NDArray[np.float64]

#: States get a panel where the window has at most this many.
MOST_STATES = 8


def visit_zoom(track: Track, diagnosis: Diagnosis, compact: bool = False) -> Figure | None:
    """Draw the bad visit; ``compact`` leaves out all but height, reading and command. None without one."""
    visit = diagnosis.bad_visit
    if visit is None:
        return None
    finding = diagnosis.findings[0] if diagnosis.findings else None
    view = panels.view_of(track, visit, finding, diagnosis.limit_mm)
    drawn = [
        each
        for each in _panels(view)
        if not compact or each[1] in (panels.height, panels.reading, panels.command)
    ]
    heights = [height for height, _ in drawn]
    if compact:
        heights[0] = 1.3
    with look():
        made = figure(sum(heights) + (0.3 if compact else 0.36) * len(heights) + 0.4)
        axes = np.atleast_1d(made.subplots(len(drawn), 1, sharex=True, height_ratios=heights))
        for one, (_, draw) in zip(axes, drawn, strict=True):
            _shade(one, view)
            draw(one, view)
            _lines(one, view)
        axes[0].set_xlim(view.t[view.part.start], view.t[view.part.stop - 1])
        axes[-1].set_xlabel("time since the first stamp [s]")
        _name_lines(axes[0], view)
        _rows_axis(axes[0], view)
        made.align_ylabels(list(axes))
    return made


def _panels(view: View) -> list[tuple[float, Callable[[Axes, View], None]]]:
    track = view.track
    found: list[tuple[float, Callable[[Axes, View], None]]] = [(2.1, panels.height)]
    if track.made is not None:
        found.append((0.35, panels.reading))
    if Role.COMMAND in track.log:
        found.append((0.9, panels.command))
    if Role.CURRENT in track.log:
        found.append((0.8, panels.current))
    if Role.BATTERY in track.log:
        found.append((0.8, panels.battery))
    found.append((0.8, panels.loops))
    if 1 < len(panels.state_names(view)) <= MOST_STATES:
        found.append((0.17 * len(panels.state_names(view)) + 0.2, panels.states))
    return found


def _shade(axes: Axes, view: View) -> None:
    ends = view.indices()
    if ends is None:
        return
    half = view.track.period_s / 2
    begin, end = view.t[ends[0]] - half, view.t[ends[1]] + half
    axes.axvspan(float(begin), float(end), facecolor=SAND, edgecolor=GREY, hatch="..", lw=0, zorder=0)


def _marks(view: View) -> list[tuple[float, str, str, object]]:
    visit, track = view.visit, view.track
    edge_t = float(np.interp(-visit.edge, *_falling(view)))
    marks: list[tuple[float, str, str, object]] = [(edge_t, "trip", ORANGE, panels.EDGE)]
    if visit.seen is not None and visit.seen <= view.part.stop - 1 and track.made is not None:
        marks.append((float(view.t[visit.seen]), "first made", BLUE, panels.SEEN))
    marks.append((float(view.t[visit.stand]), "stands", INK, panels.STAND))
    return marks


def _falling(view: View) -> tuple[Floats, Floats]:
    """Height turned to rise, and stamps, of the rows around the trip: when the trip was passed."""
    part = slice(max(view.visit.at - 1, 0), view.visit.at + 1)
    return np.maximum.accumulate(-view.track.height[part]), view.t[part]


def _lines(axes: Axes, view: View) -> None:
    for t, _, color, style in _marks(view):
        axes.axvline(t, color=color, ls=style, lw=1.0, zorder=1)  # type: ignore[arg-type]
    grid(axes, "y")


def _name_lines(axes: Axes, view: View) -> None:
    """The lines' names in a legend above: on the lines they would lie on each other."""
    handles = [
        axes.plot([], [], color=color, ls=style, lw=1.2, label=name)[0]  # type: ignore[arg-type]
        for _, name, color, style in _marks(view)
    ]
    if view.indices() is not None and view.finding is not None:
        handles.append(
            axes.fill_between([], [], facecolor=SAND, edgecolor=GREY, hatch="..", lw=0,
                              label=f"rows of {view.finding.cause.words}")  # type: ignore[arg-type]
        )  # fmt: skip
    axes.figure.legend(handles=handles, loc="outside upper left", ncols=len(handles))  # type: ignore[call-arg]


def _rows_axis(axes: Axes, view: View) -> None:
    """Data rows of the file along the top."""
    places = np.unique(np.linspace(view.part.start, view.part.stop - 1, 9).round().astype(int))[1:-1]
    top = axes.secondary_xaxis("top")
    top.set_xticks(view.t[places], [f"row {view.track.log.row[k]}" for k in places])
    top.tick_params(labelsize=7, length=3)
    top.spines["top"].set_visible(False)
