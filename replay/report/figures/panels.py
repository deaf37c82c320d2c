"""The part of a track around the visit in question, and the panels drawn of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from homing.report.figures.style import BLUE, FAINT, GREY, INK, ORANGE
from replay.diagnosis import Finding, Visit
from replay.plain_text import label
from replay.track import Track
from replay.units import Role

Floats = NDArray[np.float64]

#: Shown before the trip and after the standstill [s].
BEFORE_S, AFTER_S = 0.7, 0.7
#: What is shown is widened to the cause's rows, but not by more than this [s].
WIDEN_S = 2.5
#: Rows are marked with points where there are at most this many.
MOST_POINTS = 250
#: Style of the lines where the trip is passed, the sensor is first read as made, and the lift stands.
EDGE, SEEN, STAND = (0, (5, 2)), (0, (1, 1.5)), "-"
_NOTE = {"textcoords": "offset points", "fontsize": 7.5}


@dataclass(frozen=True)
class View:
    """The part of the track that is drawn; ``t`` (n,) [s] are the log's stamps without its clock jumps."""

    track: Track
    visit: Visit
    finding: Finding | None
    t: Floats
    part: slice
    limit: float

    @property
    def few(self) -> bool:
        """Every row can be seen."""
        return bool(self.part.stop - self.part.start <= MOST_POINTS)

    @property
    def marker(self) -> str:
        """Points on the rows where they can be told apart."""
        return "." if self.few else ""

    def indices(self) -> tuple[int, int] | None:
        """First and last index of the cause inside the window."""
        if self.finding is None:
            return None
        row = self.track.log.row
        first = int(np.searchsorted(row, self.finding.rows[0]))
        last = int(np.searchsorted(row, self.finding.rows[1], side="right")) - 1
        return (first, last) if first < self.part.stop and last >= self.part.start else None


def view_of(track: Track, visit: Visit, finding: Finding | None, limit: float) -> View:
    t = track.time_s + (float(track.log.time_s[visit.at]) - float(track.time_s[visit.at]))
    begin, end = float(t[visit.at]) - BEFORE_S, float(t[visit.stand]) + AFTER_S
    if finding is not None:
        row = track.log.row
        ends = np.clip(np.searchsorted(row, finding.rows), 0, len(track) - 1)
        first, last = float(t[ends[0]]), float(t[ends[1]])
        if last > begin - WIDEN_S and first < end + WIDEN_S:
            begin = max(min(begin, first - 0.1), begin - WIDEN_S)
            end = min(max(end, last + 0.1), end + WIDEN_S)
    low, high = np.searchsorted(t, [begin, end])
    part = slice(max(int(low) - 1, 0), min(int(high) + 1, len(t)))
    return View(track, visit, finding, t, part, limit)


def height(axes: Axes, view: View) -> None:
    part, visit = view.part, view.visit
    above = view.track.height[part] - visit.edge
    if visit.edge_low <= visit.edge <= visit.edge_high:
        doubt = (visit.edge_low - visit.edge, visit.edge_high - visit.edge)
        axes.axhspan(*doubt, color=GREY, alpha=0.25, lw=0, zorder=0)
    axes.axhline(0, color=ORANGE, lw=1.0, ls=EDGE)
    _limit(axes, view)
    axes.plot(view.t[part], above, color=BLUE, marker=view.marker, ms=3.5)
    low = float(above.min())
    # without a scale there is no limit to show beside the way gone
    limit = view.limit if view.track.scaled else -low / 1.5
    top = max(0.9 * -low, min(float(above.max()), 1.5 * limit), 2.5 * limit)
    axes.set_ylim(min(low * 1.12, -limit * 1.25), min(top, float(above.max()) * 1.05 + 2))
    _name_line(axes, 0.0, "trip height", above=True)
    axes.set_ylabel(f"above the trip\n[{'mm' if view.track.scaled else 'counts'}]")


def _limit(axes: Axes, view: View) -> None:
    """The limit, named below its line: the trip's may lie close above."""
    if view.track.scaled:
        axes.axhline(-view.limit, color=INK, lw=0.9, ls=(0, (8, 3)))
        _name_line(axes, -view.limit, f"limit {view.limit:g}", above=False)


def _name_line(axes: Axes, y: float, words: str, *, above: bool) -> None:
    side, away = ("bottom", 2) if above else ("top", -2)
    axes.annotate(words, (1, y), xycoords=("axes fraction", "data"), xytext=(-3, away), ha="right",
                  va=side, **_NOTE)  # type: ignore[arg-type]  # fmt: skip


def reading(axes: Axes, view: View) -> None:
    made = view.track.made
    assert made is not None
    axes.axhline(0, color=FAINT, lw=7, solid_capstyle="butt")
    level = np.where(made[view.part], 0.0, np.nan)
    axes.plot(view.t[view.part], level, color=INK, lw=7, solid_capstyle="butt", drawstyle="steps-post")
    axes.set_yticks([0], ["read as\nmade"])
    axes.set_ylim(-0.6, 0.6)
    axes.tick_params(axis="y", length=0)


def command(axes: Axes, view: View) -> None:
    unit = view.track.log.unit(Role.COMMAND)
    axes.axhline(0, color=GREY, lw=0.7)
    _channel(axes, view, Role.COMMAND, "steps-post")
    axes.set_ylabel(f"command\n[{unit.word if unit is not None else ''}]")


def current(axes: Axes, view: View) -> None:
    _channel(axes, view, Role.CURRENT, "default")
    axes.set_ylabel("current\n[A]")


def battery(axes: Axes, view: View) -> None:
    _channel(axes, view, Role.BATTERY, "default")
    axes.set_ylabel("battery\n[V]")


def _channel(axes: Axes, view: View, role: Role, style: str) -> None:
    part = view.part
    axes.plot(view.t[part], view.track.log[role][part], color=BLUE, drawstyle=style, marker=view.marker, ms=3)


def loops(axes: Axes, view: View) -> None:
    part = view.part
    axes.axhline(view.track.period_s * 1e3, color=GREY, lw=0.8, ls=(0, (1, 1.5)))
    axes.vlines(view.t[part], 0, view.track.step_s[part] * 1e3, color=INK, lw=0.8)
    axes.plot(view.t[part], view.track.step_s[part] * 1e3, ".", color=INK, ms=3)
    axes.set_ylim(bottom=0)
    axes.set_ylabel("loop\n[ms]")


def state_names(view: View) -> list[str]:
    log = view.track.log
    return list(dict.fromkeys(log[Role.STATE][view.part].tolist())) if Role.STATE in log else []


def states(axes: Axes, view: View) -> None:
    names, part = state_names(view), view.part
    states = view.track.log[Role.STATE][part]
    for place, name in enumerate(names):
        there = np.where(states == name, float(place), np.nan)
        axes.plot(view.t[part], there, color=INK, lw=5, solid_capstyle="butt", drawstyle="steps-post")
    axes.set_yticks(range(len(names)), [label(name) for name in names])
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0, labelsize=7.5)
