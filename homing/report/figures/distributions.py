"""How overtravel and zero error spread over the ensemble, against their limits."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from homing.report import wording
from homing.report.figures.style import BLUE, GREY, INK, ORANGE, PAPER, SKY, figure, grid, look
from homing.report.numbers import measure
from homing.results import Outcome, Verification

_NAMES = ("overtravel_mm", "zero_error_mm")
_LOOKS = {
    Outcome.ZEROED: (SKY, ""),
    Outcome.FAULTED: (PAPER, "////"),
    Outcome.UNSAFE: (INK, ""),
}


#: Runs beyond the limit are marked one by one up to this number.
_CROSSES = 40


def distributions(verification: Verification) -> Figure:
    """Histograms of all runs, stacked by how the runs ended, with the limits and the nominal run."""
    with look():
        made = figure(3.1)
        panels = made.subplots(1, len(_NAMES))
        for axes, name in zip(panels, _NAMES, strict=True):
            _draw(axes, verification, name)
        panels[0].set_ylabel("runs")
        handles = [
            Patch(facecolor=fill, hatch=hatch, edgecolor=INK, lw=0.5, label=outcome.word)
            for outcome, (fill, hatch) in _LOOKS.items()
        ]
        marks = {mark.get_label(): mark for axes in panels for mark in axes.get_legend_handles_labels()[0]}
        made.legend(handles=[*handles, *marks.values()], loc="outside upper left", ncols=5)
    return made


def _limit(verification: Verification, name: str) -> float:
    return next((each.limit for each in verification.requirements if each.name == name), float("nan"))


def _draw(axes: Axes, verification: Verification, name: str) -> None:
    values = np.asarray(verification.ensemble.metrics.get(name, np.array([])), dtype=float)
    known = np.isfinite(values)
    limit = _limit(verification, name)
    nominal = verification.nominal.metrics.get(name, float("nan"))
    edges = _edges(values[known])
    bottom = np.zeros(len(edges) - 1)
    for outcome, (fill, hatch) in _LOOKS.items():
        chosen = known & (verification.ensemble.outcome == outcome) if len(values) else known
        counts, _ = np.histogram(values[chosen], edges)
        some = counts > 0
        axes.bar(edges[:-1][some], counts[some], np.diff(edges)[some], bottom[some], align="edge", color=fill,
                 hatch=hatch, edgecolor=BLUE if outcome is Outcome.ZEROED else INK, lw=0.5)  # fmt: skip
        bottom = bottom + counts
    _marks(axes, name, nominal, limit, values[known])
    missing = int(np.sum(~known))
    word = wording.METRICS[name]
    note = f" ({missing} without)" if missing else ""
    axes.set_xlabel(f"{word.title} [{word.unit}]{note}")
    axes.set_ylim(0, None if known.any() else 1)
    grid(axes, "y")


def _edges(values: NDArray[np.float64]) -> NDArray[np.float64]:
    if not len(values):
        return np.array([0.0, 1.0])
    low, high = float(values.min()), float(values.max())
    # a spread of zero still gets a bar one can see
    room = max(high - low, 0.02 * max(abs(low), abs(high)), 0.1)
    return np.linspace(low, low + room * (1 + 1e-9), 36)


def _marks(axes: Axes, name: str, nominal: float, limit: float, values: NDArray[np.float64]) -> None:
    if np.isfinite(nominal):
        axes.axvline(nominal, color=INK, lw=1.2, ls=(0, (1, 1.5)), label="nominal run")
    if not np.isfinite(limit):
        return
    both_sides = name == "zero_error_mm"
    for number, place in enumerate((limit, -limit) if both_sides else (limit,)):
        axes.axvline(place, color=ORANGE, lw=2.0, ls=(0, (5, 2)), label="limit" if number == 0 else None)
    over = np.sort(values[np.abs(values) > limit if both_sides else values > limit])
    if 0 < len(over) <= _CROSSES:
        axes.plot(over, np.zeros(len(over)), marker="x", color=INK, ls="none", ms=5, clip_on=False, zorder=5)
    axes.set_title(
        f"{len(over)} of {len(values)} beyond {measure(limit, 'mm')}", color=INK if len(over) else GREY
    )
