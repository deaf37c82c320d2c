"""Margin maps: shades and lines of equal margin, the line where the requirements cease to hold, this lift.

Failing cells are hatched and pale, holding ones darker the more margin they keep, so that a print in black
and white says the same; where the sensor is never made the paper is left white and crossed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from homing.maps.study import MarginMap
from homing.report import wording
from homing.report.figures.style import GREY, INK, PAPER, figure, look

#: Margins at which the shade changes; the palest two are below the limit.
LEVELS = (-1.0, -0.25, 0.0, 0.1, 0.2, 0.3, 0.5, 1.0)
#: From sand to deep blue: darker is more margin, in grey as well.
SHADES = ("#f3e1cd", "#faf1e4", "#d8ebf6", "#abd4ec", "#74b5da", "#3a8cbd", "#0b5f92")
#: A requirement is named on the map where it is the worst in all cells so many cells around.
NAMED_DEPTH = 2.0
#: Contours are drawn between cells; the last ones are taken as they are.
JUST_BELOW_ALL = LEVELS[0] - 1e-6

Floats = NDArray[np.float64]
#: Key of an axis to a value on it that was advised, and what it is.
Marks = Mapping[str, tuple[float, str]]


def margin_figure(found: MarginMap, marks: Marks | None = None) -> Figure:
    """Draw one map.

    Parameters
    ----------
    found : MarginMap
    marks : mapping, optional
        Advised values; drawn as dotted lines.
    """
    with look():
        made = figure(4.4)
        axes = made.subplots()
        shades = _shades(axes, found)
        _names(axes, found)
        known = _chosen(axes, found, marks or {})
        axes.set_xlabel(f"{found.x.title} [{found.x.unit}]")
        axes.set_ylabel(f"{found.y.title} [{found.y.unit}]")
        if shades is not None:
            bar = made.colorbar(shades, ax=axes, ticks=LEVELS, pad=0.02, aspect=28)
            bar.set_ticklabels([f"{100 * level:+.0f} %" if level else "limit" for level in LEVELS])
            bar.set_label("margin of the worst requirement, share of its limit")
        made.legend(handles=[*known, *_patches(found)], loc="outside upper left", ncols=3)
    return made


def _shades(axes: Axes, found: MarginMap) -> QuadContourSet | None:
    x, y = found.x.values, found.y.values
    axes.set_xlim(x[0], x[-1])
    axes.set_ylim(y[0], y[-1])
    axes.fill_between(x[[0, -1]], y[0], y[-1], facecolor=PAPER, edgecolor=GREY, hatch="xxx", lw=0, zorder=0)
    if np.isnan(found.margin).all():
        return None
    margin = np.ma.masked_invalid(np.clip(found.margin, LEVELS[0], LEVELS[-1]))
    shades = axes.contourf(x, y, margin, levels=(JUST_BELOW_ALL, *LEVELS[1:]), colors=SHADES)
    if margin.min() < 0.0:
        below = axes.contourf(x, y, margin, levels=(JUST_BELOW_ALL, 0.0), colors="none", hatches=["////"])
        below.set_edgecolor(GREY)
        below.set_linewidth(0.0)
        if margin.max() > 0.0:
            axes.contour(x, y, margin, levels=(0.0,), colors=INK, linewidths=2.0)
    return shades


def _names(axes: Axes, found: MarginMap) -> None:
    """Name each requirement in the middle of where it is the worst."""
    outline = [withStroke(linewidth=3.0, foreground=PAPER)]
    for place, name in enumerate(found.requirements):
        spot = _middle(found.worst == place)
        if spot is not None:
            row, column = spot
            axes.text(
                found.x.values[column], found.y.values[row], wording.title(name), ha="center", va="center",
                fontsize=8, path_effects=outline, clip_on=True,
            )  # fmt: skip


def _middle(inside: NDArray[np.bool_]) -> tuple[int, int] | None:
    """The cell that lies deepest inside; None when none is ``NAMED_DEPTH`` deep."""
    rows, columns = inside.shape
    places = np.argwhere(inside)
    # cells around the map count as outside, so that a name does not sit on its edge
    framed = np.pad(inside, 1)
    others = np.argwhere(~framed) - 1
    if not len(places):
        return None
    depth = np.empty(len(places))
    for i, place in enumerate(places):
        # a name is much wider than high
        away = (others - place) / (1.0, 4.0 * columns / rows)
        depth[i] = np.hypot(away[:, 0], away[:, 1]).min()
    best = int(np.argmax(depth))
    return (int(places[best][0]), int(places[best][1])) if depth[best] >= NAMED_DEPTH / 2 else None


def _chosen(axes: Axes, found: MarginMap, marks: Marks) -> list[Line2D]:
    known = []
    for line, axis in ((axes.axvline, found.x), (axes.axhline, found.y)):
        value, words = marks.get(axis.key, (np.nan, ""))
        if axis.values[0] <= value <= axis.values[-1]:
            drawn = line(value, color=INK, lw=1.2, ls=(0, (1, 1.5)))
            drawn.set_label(f"{words}: {value:g} {axis.unit}")
            known.append(drawn)
    label = f"as it is: {_value(found.x.chosen, found.x.unit)}, {_value(found.y.chosen, found.y.unit)}"
    known += axes.plot(
        found.x.chosen, found.y.chosen, "o", ms=8, mfc=PAPER, mec=INK, mew=1.8, label=label, clip_on=False,
        ls="none", zorder=5,
    )  # fmt: skip
    return known


def _value(value: float, unit: str) -> str:
    return f"{value:.4g} {unit}"


def _patches(found: MarginMap) -> Iterator[Patch | Line2D]:
    """What the shades and hatches mean, where they are on this map."""
    margin = found.margin[~np.isnan(found.margin)]
    if (margin < 0.0).any():
        yield Patch(facecolor=SHADES[0], edgecolor=GREY, hatch="////", lw=0, label="a requirement is missed")
    if np.isnan(found.margin).any():
        yield Patch(facecolor=PAPER, edgecolor=GREY, hatch="xxx", lw=0, label="never made here")
    if (margin < 0.0).any() and (margin > 0.0).any():
        yield Line2D([], [], color=INK, lw=2.0, label="at the limit")
