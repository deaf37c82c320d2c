"""Picture: the nominal run beside the worst one, on the same scales."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from homing.report.figures.style import BLUE, FAINT, INK, ORANGE, SAND, figure, grid, look
from homing.report.worst_words import late_loops_s

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from homing.liftfile import Lift
    from homing.results import Run

#: Heights up to this are drawn once more, large [mm].
END_MM = 45.0


def worst_picture(nominal: Run, worst: Run, lift: Lift) -> Figure:
    """Height, last millimetres, speed and readings of both runs over time.

    Late loops of the worst one are shaded.
    """
    runs = ((nominal, "nominal", BLUE, "-"), (worst, "worst case", ORANGE, (0, (4, 1.5))))
    with look():
        made = figure(6.0)
        panels = made.subplots(4, 1, sharex=True, height_ratios=(1.5, 1.5, 1.1, 0.6))
        for run, label, colour, dashes in runs:
            t, trace = run.trace["t_s"], run.trace
            panels[0].plot(t, trace["carriage_mm"], color=colour, ls=dashes, label=label)
            panels[1].plot(t, trace["spool_mm"], color=colour, ls=dashes)
            panels[2].plot(t, trace["carriage_mm_s"], color=colour, ls=dashes)
        _draw_readings(panels[3], (nominal, worst))
        for start_s, end_s in late_loops_s(worst, lift):
            for axes in panels:
                axes.axvspan(start_s, end_s, color=SAND, lw=0, zorder=0)
        _finish(panels, nominal, worst)
    return made


def _finish(panels: list[Axes], nominal: Run, worst: Run) -> None:
    panels[0].set_title("Height of the carriage above the hard stop, the thick line [mm]")
    panels[0].legend(loc="upper right", ncols=2)
    panels[1].set_title("Spool height, the last millimetres; dotted: where it tripped [mm]")
    panels[2].set_title("Speed of the carriage, negative inwards [mm/s]")
    panels[3].set_xlabel("time [s]")
    panels[1].set_ylim(min(-2.0, _lowest(nominal), _lowest(worst)), END_MM)
    for axes in panels[:2]:
        axes.axhline(0.0, color=INK, lw=1.6)
    for run, colour in ((nominal, BLUE), (worst, ORANGE)):
        if run.stops:
            panels[1].axhline(run.stops[0].trip_mm, color=colour, ls=(0, (1, 1.5)), lw=1.0)
    for axes in panels[:3]:
        grid(axes)


def _lowest(run: Run) -> float:
    # a spool that throws a metre of string would flatten everything else
    return max(float(np.min(run.trace["spool_mm"])), -60.0) - 2.0


def _draw_readings(axes: Axes, runs: tuple[Run, Run]) -> None:
    for row, (run, colour) in enumerate(zip(runs, (BLUE, ORANGE), strict=True)):
        name = next(name for name in run.trace.columns if name.startswith("reading_"))
        made = np.asarray(run.trace[name]) > 0
        axes.axhline(row, color=FAINT, lw=6, zorder=1)
        t_s = run.trace["t_s"]
        axes.fill_between(t_s, row - 0.3, row + 0.3, where=made, step="post", color=colour, lw=0, zorder=2)
    axes.set_yticks((0, 1), ["nominal", "worst case"])
    axes.set_ylim(1.6, -0.6)
    axes.set_title("What the controller reads; coloured: made")


def as_svg(picture: Figure) -> bytes:
    """The picture as an SVG file."""
    from homing.report.figures import svg

    return ('<?xml version="1.0" encoding="utf-8"?>\n' + svg(picture, "worst_case")).encode()
