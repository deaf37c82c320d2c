"""The routine as a state diagram: phases in one column, ways out numbered, faults on a bus of their own.

The column keeps the order of the table. A way to the next phase is the arrow below the box; every other
way runs in a lane on the left, one lane for each destination; dashed stubs on the right lead to the
fault. The numbers are those of the table's rows and stand beside their conditions.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from itertools import pairwise

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch

from homing.report.diagram import Step, steps
from homing.report.figures.style import GREY, INK, PAPER, SAND, SKY, WIDTH_IN, figure, look
from homing.routine import Role, Table

# all lengths in inches
_LINE = 0.142
_GAP = 0.27
_BOX_LEFT, _BOX_RIGHT = 1.2, 2.95
_BUS = 3.12
_LIST = 3.38
_FIRST_LANE, _LANE = 0.52, 0.15
_LETTERS = 70
_FILL = {
    Role.START: PAPER,
    Role.MOVING: SKY,
    Role.STOPPED: PAPER,
    Role.ZEROED: SAND,
    Role.FAULTED: PAPER,
}


@dataclass(frozen=True)
class _Placed:
    """A phase with its place on the drawing."""

    step: Step
    top: float
    bottom: float
    lines: tuple[tuple[str, str], ...]

    @property
    def middle(self) -> float:
        return (self.top + self.bottom) / 2


def routine_diagram(table: Table) -> Figure:
    """Draw the state diagram of a table; its height follows from the table."""
    placed, height = _place(steps(table))
    with look():
        made = figure(height)
        made.set_layout_engine("none")
        axes = made.add_axes((0, 0, 1, 1))
        axes.set_xlim(0, WIDTH_IN)
        axes.set_ylim(height, 0)
        axes.set_axis_off()
        for one in placed:
            _draw_box(axes, one)
            _draw_list(axes, one)
        _draw_next(axes, placed)
        _draw_lanes(axes, placed)
        _draw_faults(axes, placed)
    return made


def _place(all_steps: tuple[Step, ...]) -> tuple[list[_Placed], float]:
    placed: list[_Placed] = []
    top = 0.2
    for step in all_steps:
        lines = _lines(step)
        height = max(0.38, _LINE * len(lines))
        placed.append(_Placed(step, top, top + height, lines))
        top += height + _GAP
    return placed, top


def _lines(step: Step) -> tuple[tuple[str, str], ...]:
    """Text lines beside a box: a tag and the text; a way that needs two lines has no second tag."""
    lines: list[tuple[str, str]] = []
    for way in step.ways:
        does = f" ({way.does})" if way.does else ""
        wrapped = textwrap.wrap(f"→ {way.to.replace('_', ' ')}: {way.when}{does}", _LETTERS)
        lines += [(str(way.number) if k == 0 else "", text) for k, text in enumerate(wrapped)]
    if step.faults:
        wrapped = textwrap.wrap("gives up: " + ", ".join(step.faults), _LETTERS)
        lines += [("!" if k == 0 else "", text) for k, text in enumerate(wrapped)]
    return tuple(lines)


def _draw_box(axes: Axes, one: _Placed) -> None:
    role = one.step.role
    end = role in (Role.ZEROED, Role.FAULTED)
    axes.add_patch(
        FancyBboxPatch(
            (_BOX_LEFT, one.top),
            _BOX_RIGHT - _BOX_LEFT,
            one.bottom - one.top,
            boxstyle="round,pad=0,rounding_size=0.08",
            facecolor=_FILL[role],
            edgecolor=INK,
            linewidth=2.0 if end else 0.9,
            linestyle="--" if role is Role.FAULTED else "-",
        )
    )
    middle = (_BOX_LEFT + _BOX_RIGHT) / 2
    axes.text(middle, one.middle - 0.02, one.step.title, ha="center", va="bottom", weight="bold", size=8)
    axes.text(middle, one.middle + 0.02, one.step.command, ha="center", va="top", size=7)
    if role is Role.START:
        axes.plot(middle, one.top - 0.13, marker="o", color=INK, ms=5)
        axes.annotate("", (middle, one.top), (middle, one.top - 0.13), arrowprops=_arrow())


def _draw_list(axes: Axes, one: _Placed) -> None:
    top = one.middle - _LINE * len(one.lines) / 2
    for k, (tag, text) in enumerate(one.lines):
        y = top + _LINE * (k + 0.5)
        axes.text(_LIST - 0.06, y, tag, ha="right", va="center_baseline", size=7, weight="bold")
        axes.text(_LIST, y, text, ha="left", va="center_baseline", size=7)


def _arrow() -> dict[str, object]:
    return {"arrowstyle": "-|>", "color": INK, "lw": 0.9, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 8}


def _numbers(step: Step, to: str) -> str:
    return ", ".join(str(way.number) for way in step.ways if way.to == to)


def _draw_next(axes: Axes, placed: list[_Placed]) -> None:
    middle = (_BOX_LEFT + _BOX_RIGHT) / 2
    for one, following in pairwise(placed):
        numbers = _numbers(one.step, following.step.name)
        if numbers:
            axes.annotate("", (middle, following.top), (middle, one.bottom), arrowprops=_arrow())
            axes.text(middle + 0.07, one.bottom + 0.48 * _GAP, numbers, va="center_baseline", size=6.5)


def _draw_lanes(axes: Axes, placed: list[_Placed]) -> None:
    """One lane for each destination that is not simply the next box; lanes that overlap lie side by side."""
    ports = _ports(placed)
    taken: list[list[tuple[float, float]]] = []
    for index, target in enumerate(placed):
        name = target.step.name
        sources = _lane_sources(placed, index)
        if not sources:
            continue
        arrival = ports[name, name]
        ends = [arrival] + [ports[one.step.name, name] for one in sources]
        x = _BOX_LEFT - _FIRST_LANE - _LANE * _free_lane(taken, min(ends), max(ends))
        axes.plot([x, x], [min(ends), max(ends)], color=INK, lw=0.9)
        axes.annotate("", (_BOX_LEFT, arrival), (x, arrival), arrowprops=_arrow())
        for one in sources:
            y = ports[one.step.name, name]
            axes.plot([x, _BOX_LEFT], [y, y], color=INK, lw=0.9)
            axes.text(_BOX_LEFT - 0.03, y - 0.01, _numbers(one.step, name), ha="right", va="bottom", size=6)


def _lane_sources(placed: list[_Placed], index: int) -> list[_Placed]:
    """Phases with a way to phase ``index`` other than the arrow from the box just above it."""
    name = placed[index].step.name
    return [one for k, one in enumerate(placed) if k not in (index - 1, index) and _numbers(one.step, name)]


def _ports(placed: list[_Placed]) -> dict[tuple[str, str], float]:
    """Where on its left side a box meets each lane: (box, destination of the lane) -> y, evenly spread."""
    lanes: dict[str, list[str]] = {one.step.name: [] for one in placed}
    for index, target in enumerate(placed):
        sources = _lane_sources(placed, index)
        for one in [*sources, target] if sources else []:
            lanes[one.step.name].append(target.step.name)
    return {
        (one.step.name, lane): one.top + (one.bottom - one.top) * (k + 1) / (len(lanes[one.step.name]) + 1)
        for one in placed
        for k, lane in enumerate(lanes[one.step.name])
    }


def _free_lane(taken: list[list[tuple[float, float]]], low: float, high: float) -> int:
    for number, lane in enumerate(taken):
        if all(high + 0.1 < a or low - 0.1 > b for a, b in lane):
            lane.append((low, high))
            return number
    taken.append([(low, high)])
    return len(taken) - 1


def _draw_faults(axes: Axes, placed: list[_Placed]) -> None:
    dashes = (0, (3, 2))
    for target in placed:
        sources = [one for one in placed if one.step.faults and one.step.fault_phase == target.step.name]
        if not sources:
            continue
        ends = [one.middle for one in sources] + [target.middle]
        axes.plot([_BUS, _BUS], [min(ends), max(ends)], color=GREY, lw=0.9, ls=dashes)
        axes.annotate(
            "", (_BOX_RIGHT, target.middle), (_BUS, target.middle), arrowprops=_arrow() | {"color": GREY}
        )
        for one in sources:
            axes.plot([_BOX_RIGHT, _BUS], [one.middle] * 2, color=GREY, lw=0.9, ls=dashes)
