"""One run over time: phases, height, the last millimetres, speed, readings, current."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from homing.report.figures.style import BLUE, FAINT, GREY, INK, ORANGE, SAND, SKY, figure, grid, look
from homing.results import Run, SensorView, Trace

_HEIGHTS = (1.2, 1.5, 1.0)


def timeline(run: Run, sensor: SensorView | None = None) -> Figure:
    """Draw a run from its trace; time runs to the right and is common to all panels."""
    trace = run.trace
    phases = _phases(trace)
    rows = list(dict.fromkeys(name for name, _, _ in phases))
    readings = [name for name in trace.columns if name.startswith("reading_")]
    heights = [0.16 * len(rows) + 0.25, *_HEIGHTS, 0.26 * max(1, len(readings)) + 0.2, 0.9]
    with look():
        made = figure(sum(heights) + 0.7)
        panels = made.subplots(6, 1, sharex=True, height_ratios=heights)
        _draw_phases(panels[0], phases, rows)
        _draw_height(panels[1], trace)
        _draw_end(panels[2], run, sensor)
        _draw_speed(panels[3], trace)
        _draw_readings(panels[4], trace, readings)
        _draw_supply(panels[5], trace)
        _finish(panels, phases, float(trace["t_s"][0]), float(trace["t_s"][-1]))
    return made


def _phases(trace: Trace) -> list[tuple[str, float, float]]:
    """Unbroken stretches of one phase: name, begin and end [s]."""
    t = np.asarray(trace["t_s"], dtype=float)
    states = [str(state) for state in trace["state"]]
    starts = [0] + [k for k in range(1, len(states)) if states[k] != states[k - 1]]
    ends = [*starts[1:], len(states) - 1]
    return [(states[a], float(t[a]), float(t[b])) for a, b in zip(starts, ends, strict=True)]


def _draw_phases(axes: Axes, phases: list[tuple[str, float, float]], rows: list[str]) -> None:
    for name, begin, end in phases:
        axes.barh(rows.index(name), end - begin, left=begin, height=0.62, color=INK, linewidth=0)
    axes.set_yticks(range(len(rows)), [row.replace("_", " ") for row in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0, labelsize=7.5)
    axes.set_title("Phases of the routine")
    grid(axes, "y")


def _lines(axes: Axes, trace: Trace) -> None:
    axes.plot(trace["t_s"], trace["carriage_mm"], color=BLUE, label="carriage")
    axes.plot(trace["t_s"], trace["spool_mm"], color=ORANGE, ls=(0, (4, 2)), label="spool height")
    axes.axhline(0, color=INK, lw=1.6)


def _draw_height(axes: Axes, trace: Trace) -> None:
    _lines(axes, trace)
    axes.set_title("Height above the hard stop, the thick line [mm]")
    axes.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=2, borderaxespad=0.1)
    grid(axes)


def _draw_end(axes: Axes, run: Run, sensor: SensorView | None) -> None:
    """The same heights near the hard stop, with the place where the sensor is made."""
    trace = run.trace
    trip = run.stops[0].trip_mm if run.stops else float("nan")
    _lines(axes, trace)
    lowest = min(0.0, float(np.min(trace["carriage_mm"])), float(np.min(trace["spool_mm"])))
    top = 25.0
    if np.isfinite(trip):
        top = max(top, 1.35 * trip + 8.0)
        axes.axhline(trip, color=GREY, ls=(0, (1, 1.5)), lw=1.2)
        axes.annotate(
            "trip height", (0, trip), xycoords=("axes fraction", "data"), fontsize=7.5,
            xytext=(3, 2), textcoords="offset points", color=INK,
        )  # fmt: skip
    if sensor is not None and np.isfinite(sensor.window_mm).all():
        axes.axhspan(*sensor.window_mm, color=SAND, lw=0, zorder=0)
        axes.set_title("The last millimetres; shaded: the sensor is made [mm]")
    else:
        axes.set_title("The last millimetres [mm]")
    axes.set_ylim(max(lowest, -60.0) - 0.06 * top, top)
    grid(axes)


def _draw_speed(axes: Axes, trace: Trace) -> None:
    axes.axhline(0, color=GREY, lw=0.7)
    axes.plot(trace["t_s"], trace["carriage_mm_s"], color=BLUE)
    axes.set_title("Speed of the carriage, negative inwards [mm/s]")
    grid(axes)


def _draw_readings(axes: Axes, trace: Trace, readings: list[str]) -> None:
    names = []
    for row, name in enumerate(readings):
        _draw_level(axes, trace["t_s"], np.asarray(trace[name]).astype(float), row)
        names.append(name.removeprefix("reading_"))
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(max(len(names), 1) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.set_title("What the controller reads; dark: made")


def _draw_level(axes: Axes, t: NDArray[np.float64], level: NDArray[np.float64], row: int) -> None:
    axes.axhline(row, color=FAINT, lw=6, solid_capstyle="butt")
    edges = np.flatnonzero(np.diff(np.concatenate(([0.0], (level > 0.5).astype(float), [0.0]))))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        end = t[min(b, len(t) - 1)]
        axes.plot([t[a], end], [row, row], color=INK, lw=6, solid_capstyle="butt")


def _draw_supply(axes: Axes, trace: Trace) -> None:
    axes.fill_between(trace["t_s"], 0, trace["current_a"], color=SKY, lw=0, step="post")
    axes.step(trace["t_s"], trace["current_a"], color=BLUE, lw=0.9, where="post")
    axes.set_title("Battery current [A]")
    axes.set_xlabel("time [s]")
    grid(axes)


def _finish(
    panels: NDArray[np.object_], phases: list[tuple[str, float, float]], begin: float, end: float
) -> None:
    for axes in panels:
        axes.set_xlim(begin, end)
    for axes in panels[1:]:
        for _, start, _ in phases[1:]:
            axes.axvline(start, color=FAINT, lw=0.6, zorder=0)
        axes.grid(False, axis="x")
