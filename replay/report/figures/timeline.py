"""A whole log at a glance: heights, command, readings, loop periods, and its visits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from homing.report.figures.style import BLUE, FAINT, GREY, INK, ORANGE, PAPER, figure, grid, look
from replay.defects import DefectKind
from replay.diagnosis import Visit
from replay.log import Log
from replay.plain_text import label
from replay.units import ON_OFF, Role

Floats = NDArray[np.float64]

#: More states than this make bars too thin to read.
MOST_STATES_DRAWN = 12
#: More points than this are drawn as pixels, or a curve by its extremes in so many pieces.
MOST_POINTS, PIECES = 10_000, 2_500
#: Room for the numbers of the visits, as a share of the panel, and how many fit beside each other.
NUMBERS_SHARE, MOST_NUMBERS = 0.16, 40
#: Defects about the motion itself, marked where they happen.
_MARKED = {DefectKind.COUNTER_RESET: "v", DefectKind.COUNTER_JUMP: "x", DefectKind.COUNTER_WRAP: "+"}


def timeline(log: Log, visits: Sequence[Visit] = (), bad: Visit | None = None) -> Figure:
    """Draw the channels that a log has, one panel each, over time since its first stamp.

    Visits are numbered where they passed the trip; the one in question is drawn through all panels.
    """
    panels: list[tuple[float, Callable[[Axes, Log], None]]] = [(2.0, _draw_place)]
    if Role.COMMAND in log:
        panels.append((1.1, _draw_command))
    if _on_off(log):
        panels.append((0.3 * len(_on_off(log)) + 0.2, _draw_readings))
    if Role.STATE in log and len(_states(log)) <= MOST_STATES_DRAWN:
        panels.append((0.16 * len(_states(log)) + 0.25, _draw_states))
    for role in (Role.CURRENT, Role.BATTERY):
        if role in log:
            panels.append((0.8, _draw_current if role is Role.CURRENT else _draw_battery))
    panels.append((1.2, _draw_periods))
    heights = [height for height, _ in panels]
    with look():
        made = figure(sum(heights) + 0.4 * len(heights) + 0.3)
        axes = np.atleast_1d(made.subplots(len(panels), 1, sharex=True, height_ratios=heights))
        for one, (_, draw) in zip(axes, panels, strict=True):
            draw(one, log)
            if bad is not None:
                one.axvline(bad.t_s, color=ORANGE, lw=1.4, ls=(0, (4, 2)), zorder=0)
        _mark_visits(axes[0], log, visits, bad)
        axes[-1].set_xlabel("time since the first stamp [s]")
        made.align_ylabels(list(axes))
    return made


def _curve(axes: Axes, log: Log, values: NDArray[Any], **style: Any) -> None:
    # a new stretch starts a new line: nothing was logged between the two
    for number, part in enumerate(log.stretches):
        label = {"label": style["label"]} if number == 0 and "label" in style else {"label": None}
        kept = telling(values[part])
        axes.plot(log.time_s[part][kept], values[part][kept], **{**style, **label})


def telling(values: NDArray[Any]) -> NDArray[np.int64]:
    """Indices of the points that show a long curve as it is: in each narrow piece its first and extremes.

    Pieces are narrower than a printer's dot. The point after each extreme is kept too, so that a reading
    of a single row is still a dash.
    """
    count = len(values)
    if count <= MOST_POINTS:
        return np.arange(count)
    width = -(-count // PIECES)
    filled = np.concatenate([values, np.full(-count % width, np.nan)]).reshape(-1, width)
    gone = np.isnan(filled)
    lowest = np.argmin(np.where(gone, np.inf, filled), axis=1)
    highest = np.argmax(np.where(gone, -np.inf, filled), axis=1)
    first = np.arange(len(filled)) * width
    kept = np.concatenate([first, first + lowest, first + lowest + 1, first + highest, first + highest + 1])
    return np.unique(kept[kept < count])


def _draw_place(axes: Axes, log: Log) -> None:
    factor, unit = (1.0, "counts") if log.mm_per_count is None else (log.mm_per_count, "mm")
    _curve(axes, log, log.counts * factor, color=BLUE, label="counts")
    if Role.COUNTS_2 in log:
        _curve(axes, log, log[Role.COUNTS_2] * factor, color=ORANGE, ls=(0, (4, 2)), label="second counts")
    if Role.TARGET in log and log.unit(Role.TARGET) is log.unit(Role.COUNTS):
        _curve(axes, log, log[Role.TARGET] * factor, color=GREY, ls=(0, (1, 1.5)), label="target")
    for each in log.defects:
        if each.kind in _MARKED:
            at = np.isin(log.row, each.rows)
            words = each.kind.value.replace("_", " ")
            axes.plot(
                log.time_s[at], log.counts[at] * factor, _MARKED[each.kind], color=INK, ms=6, label=words
            )
    axes.set_ylabel(f"spool height\n[{unit}]")
    axes.set_title("Height as the log counts it, over its own zero")
    if len(axes.get_lines()) > len(log.stretches):
        axes.legend(loc="upper right", ncols=3, borderaxespad=0)
    grid(axes)


def _mark_visits(axes: Axes, log: Log, visits: Sequence[Visit], bad: Visit | None) -> None:
    """Numbers under the curve, the visit in question in a box; of very many only some."""
    if not visits:
        return
    low, high = axes.get_ylim()
    axes.set_ylim(low - NUMBERS_SHARE * (high - low), high)
    every = 1 + len(visits) // MOST_NUMBERS
    for each in visits:
        asked = bad is not None and each.number == bad.number
        if not asked and (each.number - 1) % every:
            continue
        box = {"boxstyle": "square,pad=0.2", "fc": PAPER, "ec": INK, "lw": 0.8} if asked else None
        axes.annotate(
            str(each.number), (each.t_s, 0.03), xycoords=("data", "axes fraction"), ha="center", va="bottom",
            fontsize=7, fontweight="bold" if asked else "normal", bbox=box, zorder=5,
        )  # fmt: skip
    axes.set_title("Height as the log counts it, over its own zero; numbers: visits")


def _draw_command(axes: Axes, log: Log) -> None:
    unit = log.unit(Role.COMMAND)
    axes.axhline(0, color=GREY, lw=0.7)
    _curve(axes, log, log[Role.COMMAND], color=BLUE, drawstyle="steps-post")
    axes.set_ylabel(f"command\n[{unit.word if unit is not None else ''}]")
    axes.set_title("Command (negative: inwards)")
    grid(axes)


def _on_off(log: Log) -> list[Role]:
    return [role for role in Role if role in ON_OFF and role in log]


def _draw_readings(axes: Axes, log: Log) -> None:
    roles = _on_off(log)
    for place, role in enumerate(roles):
        axes.axhline(place, color=FAINT, lw=6, solid_capstyle="butt")
        made = np.where(log[role] > 0.5, float(place), np.nan)
        _curve(axes, log, made, color=INK, lw=6, solid_capstyle="butt", drawstyle="steps-post")
    axes.set_yticks(range(len(roles)), [label(log.roles[role].spec.column) for role in roles])
    axes.set_ylim(len(roles) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.set_title("Readings (dark: made)")


def _states(log: Log) -> list[str]:
    return list(dict.fromkeys(log[Role.STATE].tolist()))


def _draw_states(axes: Axes, log: Log) -> None:
    names = _states(log)
    place = {name: float(index) for index, name in enumerate(names)}
    rows = np.array([place[name] for name in log[Role.STATE].tolist()])
    for index in range(len(names)):
        there = np.where(rows == index, float(index), np.nan)
        _curve(axes, log, there, color=INK, lw=5, solid_capstyle="butt", drawstyle="steps-post")
    axes.set_yticks(range(len(names)), [label(name) for name in names])
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0, labelsize=7.5)
    axes.set_title("State")
    grid(axes, "y")


def _draw_current(axes: Axes, log: Log) -> None:
    _curve(axes, log, log[Role.CURRENT], color=BLUE)
    axes.set_ylabel("current\n[A]")
    axes.set_title("Current")
    grid(axes)


def _draw_battery(axes: Axes, log: Log) -> None:
    _curve(axes, log, log[Role.BATTERY], color=BLUE)
    axes.set_ylabel("battery\n[V]")
    axes.set_title("Battery voltage")
    grid(axes)


def _draw_periods(axes: Axes, log: Log) -> None:
    step: Floats = np.full(len(log), np.nan)
    for part in log.stretches:
        step[part][1:] = np.diff(log.time_s[part])
    step[step <= 0] = np.nan
    kept = telling(step)
    # points as pixels: thousands of them as shapes would make the page slow
    axes.plot(
        log.time_s[kept], step[kept] * 1e3, ".", color=INK, ms=2, rasterized=len(kept) > MOST_POINTS // 4
    )
    axes.set_ylim(bottom=0)
    axes.set_ylabel("step\n[ms]")
    axes.set_title("Time from each stamp to the next")
    grid(axes)
