"""Before and after: each measure of each log with its interval."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.figure import Figure

from homing.report.figures.style import BLUE, INK, figure, grid, look
from replay.compare_logs import Comparisons, Measure

_SHOWN = (Measure.OVERTRAVEL, Measure.EDGE_SPREAD, Measure.MADE_RATE, Measure.APPROACH_SPEED)


def comparison(found: Comparisons) -> Figure:
    """Draw the measures side by side, one row a log, so that overlapping intervals are seen."""
    shown = [each for each in found.measures if each.measure in _SHOWN]
    with look():
        made = figure(0.26 * len(found.sources) + 1.1)
        panels = np.atleast_1d(made.subplots(1, len(shown), sharey=True))
        for axes, each in zip(panels, shown, strict=True):
            for place, one in enumerate(each.estimates):
                if math.isfinite(one.low):
                    axes.plot([one.low, one.high], [place, place], color=INK, lw=1.3, marker="|", ms=7)
                if math.isfinite(one.value):
                    axes.plot([one.value], [place], "o", color=BLUE, ms=5.5, mec=INK)
            if each.measure.share:
                axes.set_xlim(-0.03, 1.03)
            axes.set_xlabel(_AXIS[each.measure], fontsize=7.5)
            axes.set_ylim(len(found.sources) - 0.4, -0.6)
            axes.tick_params(axis="y", length=0)
            grid(axes, "x")
        names = [f"{number}" for number in range(1, len(found.sources) + 1)]
        panels[0].set_yticks(range(len(names)), names)
        panels[0].set_ylabel("log")
    return made


_AXIS = {
    Measure.OVERTRAVEL: "overtravel, mean [mm]",
    Measure.EDGE_SPREAD: "edge spread [mm]",
    Measure.MADE_RATE: "share of visits made",
    Measure.APPROACH_SPEED: "approach [mm/s]",
}
