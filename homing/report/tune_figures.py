"""Pictures of a tuning: the front, before and after, and how far each setting may stray."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from homing.report import wording
from homing.report.figures.gather import Picture
from homing.report.figures.style import BLUE, FAINT, GREY, INK, ORANGE, PAPER, SKY, figure, grid, look
from homing.report.tune_rows import rough, size
from homing.report.tune_words import named
from homing.tuning.results import Drift, Tuning

#: Metrics whose spread is shown before and after.
_SPREAD = ("overtravel_mm", "zero_error_mm", "time_to_zero_s")
#: Trials with less margin than this are drawn at the lower edge.
_LOWEST_MARGIN = -0.5
_BINS = 40


def tune_pictures(tuning: Tuning) -> tuple[Picture, ...]:
    """Draw everything there is something to draw of."""
    pictures = [_front_picture(tuning), _spread_picture(tuning)]
    if tuning.drift:
        pictures.append(_drift_picture(tuning))
    return tuple(pictures)


def _front_picture(tuning: Tuning) -> Picture:
    caption = (
        "Every trial of the search by its time to zero (half of the runs are faster) and its margin in the "
        "worst requirement; below zero a requirement fails. Trials that never zeroed are left out. The ring "
        "shows what the chosen settings promised, the full dot what fresh runs gave. The front was looked at "
        "again on more runs, so that it lies below the luckiest trials."
    )
    return Picture("front", caption, front(tuning))


def _spread_picture(tuning: Tuning) -> Picture:
    caption = (
        f"Before and after over the same {tuning.runs} fresh runs, with the limits; above each picture, how "
        "many of them fail."
    )
    return Picture("before_after", caption, before_after(tuning))


def _drift_picture(tuning: Tuning) -> Picture:
    caption = (
        "How far each setting may stray alone before a requirement fails, as a multiple of its value. An "
        "arrow: nothing failed as far as it was tried. The word is the requirement that fails beyond the bar."
    )
    return Picture("drift", caption, drift_bars(tuning))


def front(tuning: Tuning) -> Figure:
    """Time to zero against margin: trials, front, chosen point, before."""
    with look():
        made = figure(3.9)
        axes = made.subplots()
        trials = np.array(tuning.trials, dtype=float).reshape(-1, 2)
        shown = np.maximum(trials[:, 1], _LOWEST_MARGIN)
        axes.axhspan(_LOWEST_MARGIN - 0.05, 0.0, facecolor=FAINT, alpha=0.45, lw=0)
        axes.plot(trials[:, 0], shown, ls="none", marker=".", ms=4, color=GREY, alpha=0.7, label="trial")
        _front_line(axes, tuning)
        _dots(axes, tuning)
        axes.set_ylim(_LOWEST_MARGIN - 0.05, None)
        axes.set_xlim(0.0, _last_time(tuning, trials))
        axes.yaxis.set_major_formatter(lambda value, _: f"{100 * value:.0f} %")
        axes.set_xlabel("time to zero, half of the runs [s]")
        axes.set_ylabel("margin in the worst requirement")
        grid(axes)
        made.legend(loc="outside upper left", ncols=5)
    return made


def _front_line(axes: Axes, tuning: Tuning) -> None:
    times = [point.time_to_zero_s for point in tuning.front]
    margins = [point.margin for point in tuning.front]
    axes.step(times, margins, where="post", color=BLUE, lw=1.4, marker="s", ms=4.5, label="front")


def _dots(axes: Axes, tuning: Tuning) -> None:
    chosen, before, after = tuning.chosen, tuning.before.point, tuning.after.point
    ring: dict[str, Any] = {"marker": "o", "ms": 11, "mfc": "none", "mec": INK, "label": "promised"}
    cross: dict[str, Any] = {
        "marker": "X",
        "ms": 9,
        "color": ORANGE,
        "mec": PAPER,
        "label": "before, fresh runs",
    }
    dot: dict[str, Any] = {"marker": "o", "ms": 6, "color": INK, "label": "after, fresh runs"}
    for point, look_of in ((before, cross), (chosen, ring), (after, dot)):
        if math.isfinite(point.time_to_zero_s):
            axes.plot(point.time_to_zero_s, max(point.margin, _LOWEST_MARGIN), ls="none", **look_of)


def _last_time(tuning: Tuning, trials: NDArray[np.float64]) -> float:
    """Right end of the time axis: slow trials far from everything of interest are cut off."""
    shown = [point.time_to_zero_s for point in (*tuning.front, tuning.before.point, tuning.after.point)]
    known = [time for time in shown if math.isfinite(time)]
    seen = trials[np.isfinite(trials[:, 0]), 0]
    most = 2.0 * max(known, default=1.0)
    return float(min(most, 1.05 * max(float(seen.max(initial=0.0)), *known, 0.1)))


def before_after(tuning: Tuning) -> Figure:
    """Histograms of the metrics that count most, before above after."""
    with look():
        made = figure(3.6)
        panels = made.subplots(2, len(_SPREAD), sharex="col")
        for column, name in enumerate(_SPREAD):
            _pair(panels[:, column], tuning, name)
        panels[0, 0].set_ylabel("before: runs")
        panels[1, 0].set_ylabel("after: runs")
        made.legend(*panels[0, 0].get_legend_handles_labels(), loc="outside upper left", ncols=2)
    return made


def _pair(panels: NDArray[np.object_], tuning: Tuning, name: str) -> None:
    both = [np.asarray(each.ensemble.metrics[name], dtype=float) for each in (tuning.before, tuning.after)]
    limit = next(each.limit for each in tuning.after.requirements if each.name == name)
    known = np.concatenate([values[np.isfinite(values)] for values in both])
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    edges = np.linspace(low, high if high > low else low + 1.0, _BINS)
    word = wording.METRICS[name]
    proofs = (tuning.before, tuning.after)
    for axes, values, proof, fill in zip(panels, both, proofs, (PAPER, SKY), strict=True):
        present = values[np.isfinite(values)]
        axes.hist(present, edges, color=fill, edgecolor=BLUE if fill == SKY else INK, lw=0.5)
        _limits(axes, limit, absolute=name == "zero_error_mm", low=low, high=high)
        over = next(each.failures for each in proof.requirements if each.name == name)
        axes.set_title(f"{over} of {len(values)} fail" if over else "none fails", color=INK if over else GREY)
        grid(axes, "y")
    panels[1].set_xlabel(f"{word.title} [{word.unit}]")


def _limits(axes: Axes, limit: float, *, absolute: bool, low: float, high: float) -> None:
    """The limit where it is not too far off to be of interest; else only in words."""
    places = [limit, -limit] if absolute else [limit]
    for number, place in enumerate(places):
        if low - (high - low) <= place <= high + (high - low):
            label = "limit" if number == 0 else None
            axes.axvline(place, color=ORANGE, lw=1.8, ls=(0, (5, 2)), label=label)


def drift_bars(tuning: Tuning) -> Figure:
    """One bar a setting on a scale of ratios; what fails beyond its ends is written there."""
    with look():
        made = figure(0.9 + 0.33 * len(tuning.drift))
        axes = made.subplots()
        for row, drift in enumerate(tuning.drift):
            _bar(axes, row, drift)
        axes.axvline(1.0, color=INK, lw=1.0)
        axes.set_xscale("log")
        axes.set_xlim(0.12, 9.0)
        ticks = (0.25, 0.5, 1.0, 2.0, 4.0)
        axes.set_xticks(ticks, [f"{tick:g}x" for tick in ticks])
        axes.minorticks_off()
        axes.set_yticks(range(len(tuning.drift)), [_label(tuning, each) for each in tuning.drift])
        axes.invert_yaxis()
        axes.set_xlabel("multiple of the setting")
        grid(axes, "x")
    return made


def _label(tuning: Tuning, drift: Drift) -> str:
    name = named(tuning, next(keys for keys in tuning.groups if keys[0] == drift.key))
    return f"{name.title} {size(drift.value)} {name.unit}"


def _bar(axes: Axes, row: int, drift: Drift) -> None:
    low, high = drift.low.value / drift.value, drift.high.value / drift.value
    axes.barh(row, high - low, left=low, height=0.5, color=SKY, edgecolor=BLUE, lw=0.6)
    for side, place, way, align in ((drift.low, low, 0.94, "right"), (drift.high, high, 1.06, "left")):
        if side.blocks:
            axes.plot(place, row, marker="|", ms=11, mew=2.2, color=ORANGE)
        else:
            axes.plot(place, row, marker="<" if align == "right" else ">", ms=5, color=BLUE)
        text = rough(abs(side.value)) + (f"  {wording.title(side.blocks)}" if side.blocks else "")
        axes.text(place * way, row, f" {text} ", va="center", ha=align, fontsize=7.5, color=INK)
