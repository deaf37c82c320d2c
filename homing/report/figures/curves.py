"""The response curves of all candidates on one axis along the travel, and below it where each is made.

The candidates measure different things. Each signal is therefore drawn as its way from what it is far from
the target (0) to the threshold at which it is made (1), so that every curve crosses the same line at its trip
height. Before its first touch a contact's signal is 0.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from homing.compare.results import CandidateResult
from homing.report.figures.style import (
    BLUE,
    GREY,
    INK,
    ORANGE,
    PAPER,
    SKY,
    figure,
    grid,
    look,
)
from homing.report.numbers import plain
from homing.results import SensorView
from sensor_models.kinds import SensorKind

#: Curves are cut off so many times the threshold; what is beyond decides nothing.
TOP, BOTTOM = 2.6, -0.35
#: The carriage never gets far below the hard stop [mm].
BELOW_MM = -10.0
#: Room above the highest place at which one is made, as a share of the range, and at least so much [mm].
ROOM, LEAST_ROOM_MM = 0.3, 15.0
CONTACT = SensorKind.CONTACT.name.lower()
#: Height of a candidate's row [in].
ROW_IN = 0.27

STYLES: tuple[tuple[str, str | tuple[int, tuple[float, ...]]], ...] = (
    (BLUE, "-"),
    (ORANGE, (0, (5, 1.5))),
    (INK, (0, (1.2, 1.2))),
    (GREY, (0, (6, 1.5, 1.2, 1.5))),
    (BLUE, (0, (2.5, 1.5))),
    (ORANGE, "-"),
    (INK, (0, (7, 2))),
    (GREY, "-"),
    (BLUE, (0, (6, 1.5, 1.2, 1.5))),
    (ORANGE, (0, (1.2, 1.2))),
    (INK, "-"),
    (GREY, (0, (3, 1.5))),
)

Floats = NDArray[np.float64]


def candidate_curves(candidates: Sequence[CandidateResult]) -> Figure:
    """Draw the curves above, and below them a row for each candidate in the order of their rank."""
    seen = [each for each in candidates if each.view is not None]
    rows_in = ROW_IN * len(candidates) + 0.35
    with look():
        made = figure(3.0 + rows_in + 0.55)
        curves, rows = made.subplots(2, 1, sharex=True, height_ratios=(3.0, rows_in))
        curves.set_xlim(*_range(candidates))
        for number, each in enumerate(seen):
            _draw_curve(curves, each, number)
        _draw_levels(curves)
        _draw_rows(rows, candidates)
        made.legend(*curves.get_legend_handles_labels(), loc="outside upper left", ncols=4)
        rows.legend(
            handles=_row_key(), loc="upper right", bbox_to_anchor=(1.0, -0.32 / rows_in * 1.9), ncols=4
        )
    return made


def normalised(view: SensorView) -> Floats:
    """The signal as its way from far off (0) to the operate threshold (1), (n,)."""
    pressed = view.kind == CONTACT
    signal = np.maximum(view.signal, 0.0) if pressed else view.signal
    idle = float(signal[-1])
    return np.asarray((signal - idle) / (view.operate - idle))


def _range(candidates: Sequence[CandidateResult]) -> tuple[float, float]:
    marks = [0.0, *(each.mount_mm for each in candidates)]
    for each in candidates:
        marks += [each.trip_mm.high, each.release_mm.high, each.release_mm.nominal]
    high = max(mark for mark in marks if np.isfinite(mark))
    top = max((float(each.view.x_mm[-1]) for each in candidates if each.view is not None), default=np.inf)
    return BELOW_MM, min(high + max(LEAST_ROOM_MM, ROOM * (high - BELOW_MM)), top)


def _draw_curve(axes: Axes, candidate: CandidateResult, number: int) -> None:
    assert candidate.view is not None
    colour, dashes = STYLES[number % len(STYLES)]
    axes.plot(
        candidate.view.x_mm, normalised(candidate.view), color=colour, ls=dashes, lw=1.5, label=candidate.name
    )


def _draw_levels(axes: Axes) -> None:
    axes.set_ylim(BOTTOM, TOP)
    axes.axhline(1.0, color=INK, lw=1.0)
    axes.annotate(
        "made above this line", (1.0, 1.0), xycoords=("axes fraction", "data"), xytext=(-2, 3),
        textcoords="offset points", ha="right", fontsize=7.5,
    )  # fmt: skip
    axes.axvline(0, color=INK, lw=1.8)
    axes.annotate("hard stop", (0, 1), xycoords=("data", "axes fraction"), xytext=(-4, -2), rotation=90,
                  textcoords="offset points", ha="right", va="top", fontsize=7.5)  # fmt: skip
    axes.set_yticks([0.0, 0.5, 1.0, 1.5, 2.0, 2.5], ["0", "", "1", "", "2", ""])
    axes.set_ylabel("signal: 0 far from the target,\n1 where it is made")
    grid(axes)


def _draw_rows(axes: Axes, candidates: Sequence[CandidateResult]) -> None:
    low, high = axes.get_xlim()
    for row, each in enumerate(candidates):
        if each.miss or each.view is None:
            words = "never made" if each.miss else "the hard stop itself"
            axes.text(0.012 * (high - low), row, words, va="center", fontsize=7.5)
        else:
            _draw_row(axes, row, each, high)
    axes.axvline(0, color=INK, lw=1.8)
    axes.set_yticks(range(len(candidates)), [f"{each.rank}  {each.name}" for each in candidates])
    axes.set_ylim(len(candidates) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.grid(True, axis="x")
    axes.set_xlabel("carriage height above the hard stop [mm]")


def _draw_row(axes: Axes, row: int, candidate: CandidateResult, high: float) -> None:
    trip, release = candidate.trip_mm, candidate.release_mm
    begin = max(trip.nominal - candidate.window_mm, BELOW_MM)
    axes.barh(row, trip.nominal - begin, left=begin, height=0.5, color=SKY, edgecolor=INK, lw=0.6)
    axes.barh(
        row,
        trip.high - trip.low,
        left=trip.low,
        height=0.78,
        color=PAPER,
        hatch="////",
        edgecolor=INK,
        lw=0.7,
    )
    axes.plot(release.nominal, row, marker=">", ms=4.5, color=INK, ls="none")
    for place in candidate.false_places_mm:
        _draw_false_place(axes, row, place, high)
    text = f"{plain(trip.nominal, 1)}, lets go {plain(release.nominal, 1)}"
    beside = [place[1] for place in candidate.false_places_mm if place[1] < high]
    end = max(trip.high, release.nominal, *beside)
    axes.annotate(text, (end, row), xytext=(7, 0), textcoords="offset points", va="center", fontsize=7.5)


def _draw_false_place(axes: Axes, row: int, place: tuple[float, float], high: float) -> None:
    if place[0] < high:
        axes.barh(
            row,
            place[1] - place[0],
            left=place[0],
            height=0.5,
            color=PAPER,
            hatch="xxxx",
            edgecolor=ORANGE,
            lw=0.8,
        )
        return
    axes.annotate(f"also made {plain(place[0], 0)} to {plain(place[1], 0)} \N{RIGHTWARDS ARROW}", (1.0, row),
                  xycoords=("axes fraction", "data"), xytext=(-2, 0), textcoords="offset points", ha="right",
                  va="center", fontsize=7.5, color=ORANGE)  # fmt: skip


def _row_key() -> list[Patch | Line2D]:
    return [
        Patch(facecolor=SKY, edgecolor=INK, lw=0.6, label="made"),
        Patch(facecolor=PAPER, edgecolor=INK, hatch="////", lw=0.7, label="trips here (95 % of lifts)"),
        Line2D([], [], marker=">", ms=4.5, color=INK, ls="none", label="lets go"),
        Patch(facecolor=PAPER, edgecolor=ORANGE, hatch="xxxx", lw=0.8, label="also made: false place"),
    ]
