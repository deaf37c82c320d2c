"""Edge position over the visits, with the account that explains it best."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from homing.report.figures.style import BLUE, GREY, INK, ORANGE, SKY, figure, grid, look
from replay.diagnosis import Diagnosis, EdgeChart, Shape


def edges(diagnosis: Diagnosis) -> Figure | None:
    """Draw the edges with their sampling intervals; None where no edge was read."""
    chart = diagnosis.edge_chart
    if not chart.edges:
        return None
    with look():
        made = figure(2.7)
        axes = made.subplots()
        visits, place = np.array(chart.visits), np.array(chart.edges)
        _draw_account(axes, chart)
        axes.errorbar(
            visits, place, yerr=np.array(chart.half_widths), fmt="o", color=BLUE, ms=4.5, capsize=3, lw=1.0,
            label="edge, and the rows it lies between",
        )  # fmt: skip
        bad = diagnosis.bad_visit
        if bad is not None and bad.number in chart.visits:
            at = chart.visits.index(bad.number)
            axes.plot(
                visits[at], place[at], "o", ms=12, mfc="none", mec=INK, mew=1.4, label="visit in question"
            )
        axes.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))
        axes.set_xlim(visits[0] - 0.6, visits[-1] + 0.6)
        axes.margins(y=0.2)
        axes.set_xlabel("visit")
        axes.set_ylabel(f"edge [{'mm' if diagnosis.scaled else 'counts'}]")
        grid(axes)
        made.legend(*axes.get_legend_handles_labels(), loc="outside upper left", ncols=4)
    return made


def _draw_account(axes: Axes, chart: EdgeChart) -> None:
    visits, place = np.array(chart.visits, dtype=np.float64), np.array(chart.edges)
    line = {"color": ORANGE, "lw": 1.6, "ls": (0, (5, 2))}
    if chart.shape is Shape.STEP and chart.at_visit is not None:
        after = visits >= chart.at_visit
        for number, part in enumerate((~after, after)):
            mean = float(np.mean(place[part]))
            label = {"label": "level, before and after the step"} if number == 0 else {}
            axes.plot([visits[part][0] - 0.4, visits[part][-1] + 0.4], [mean, mean], **line, **label)  # type: ignore[arg-type]
    elif chart.shape is Shape.RAMP:
        slope, level = np.polyfit(np.arange(len(place)), place, 1)
        axes.plot(visits, level + slope * np.arange(len(place)), **line, label="ramp")  # type: ignore[arg-type]
    elif chart.shape is Shape.SCATTER:
        mean, spread = float(np.mean(place)), float(np.std(place, ddof=1))
        axes.axhspan(mean - spread, mean + spread, color=SKY, alpha=0.5, lw=0, label="one standard deviation")
    elif chart.shape is Shape.STEADY:
        axes.axhline(float(np.mean(place)), color=GREY, lw=1.0, ls=(0, (1, 1.5)), label="mean")
