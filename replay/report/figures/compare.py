"""Before and after: measures of several logs side by side with their intervals."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from homing.report.figures.style import BLUE, INK, figure, grid, look
from replay.compare_logs import Comparison, Comparisons, Measure

#: What is drawn, and the words on its axis.
_SHOWN = {
    Measure.OVERTRAVEL: "overtravel, mean [mm]",
    Measure.EDGE_SPREAD: "edge spread [mm]",
    Measure.MADE_RATE: "share of visits made",
    Measure.APPROACH_SPEED: "approach [mm/s]",
}


def comparison(found: Comparisons) -> Figure:
    """Draw the measures, one row a log, so that overlapping intervals are seen."""
    shown = [each for each in found.measures if each.measure in _SHOWN]
    logs = len(found.sources)
    with look():
        made = figure(0.26 * logs + 1.1)
        panels = np.atleast_1d(made.subplots(1, len(shown), sharey=True))
        for axes, each in zip(panels, shown, strict=True):
            _draw(axes, each)
            axes.set_ylim(logs - 0.4, -0.6)
        panels[0].set_yticks(range(logs), [str(number) for number in range(1, logs + 1)])
        panels[0].set_ylabel("log")
    return made


def _draw(axes: Axes, each: Comparison) -> None:
    for place, one in enumerate(each.estimates):
        if math.isfinite(one.low):
            axes.plot([one.low, one.high], [place, place], color=INK, lw=1.3, marker="|", ms=7)
        if math.isfinite(one.value):
            axes.plot([one.value], [place], "o", color=BLUE, ms=5.5, mec=INK)
    if each.measure.share:
        axes.set_xlim(-0.03, 1.03)
    axes.set_xlabel(_SHOWN[each.measure], fontsize=7.5)
    axes.tick_params(axis="y", length=0)
    grid(axes, "x")
