"""What the sensor reads along the travel, with its tolerance band and the places where it is made."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import ScalarFormatter

from homing.report.figures.style import BLUE, GREY, INK, ORANGE, PAPER, SAND, SKY, figure, grid, look
from homing.report.numbers import plain
from homing.results import SensorView

#: The carriage never gets below the hard stop; so much below it is shown at most [mm].
_BELOW_MM = -12.0

#: Curves which rise so many times above the operate point are drawn on a logarithm above it.
_STEEP = 8.0


def sensor_response(view: SensorView) -> Figure:
    """Draw the response curve above, and below it where the sensor is made."""
    with look():
        made = figure(4.3)
        curve, places = made.subplots(2, 1, sharex=True, height_ratios=(3.0, 1.0))
        _draw_curve(curve, view)
        _draw_places(places, view)
        curve.set_xlim(*_range(view))
        made.legend(*curve.get_legend_handles_labels(), loc="outside upper left", ncols=4)
    return made


def _range(view: SensorView) -> tuple[float, float]:
    """The part of the travel in which something happens, with room around it."""
    marks = [0.0, view.trip_mm, view.release_mm, *view.trip_band_mm, *view.trip_zone_mm]
    marks += [edge for zone in view.zones_mm for edge in zone]
    # a curve which never comes near its thresholds is shown where it is strongest
    marks.append(float(view.x_mm[int(np.nanargmax(view.signal))]))
    known = np.array([max(mark, _BELOW_MM) for mark in marks if np.isfinite(mark)])
    low, high = float(known.min()), float(known.max())
    room = max(8.0, 0.35 * (high - low))
    return max(low - 0.6 * room, float(view.x_mm[0])), min(high + room, float(view.x_mm[-1]))


def _draw_curve(axes: Axes, view: SensorView) -> None:
    low, high = _range(view)
    seen = (view.x_mm >= low) & (view.x_mm <= high)
    axes.fill_between(
        view.x_mm, view.signal_low, view.signal_high, color=SKY, lw=0, label="over the tolerances"
    )
    axes.plot(view.x_mm, view.signal, color=BLUE, lw=1.6, label="nominal")
    unit = f" [{view.unit}]" if view.unit else ""
    axes.axhline(view.operate, color=ORANGE, lw=1.2, label=f"operates at {view.operate:.3g} {view.unit}")
    axes.axhline(
        view.release, color=ORANGE, lw=1.2, ls=(0, (4, 2)), label=f"lets go at {view.release:.3g} {view.unit}"
    )
    axes.axvline(0, color=INK, lw=1.8)
    axes.annotate("hard stop", (0, 1), xycoords=("data", "axes fraction"), xytext=(-4, -2), rotation=90,
                  textcoords="offset points", ha="right", va="top", fontsize=7.5)  # fmt: skip
    axes.set_ylabel(f"{view.quantity}{unit}")
    grid(axes)
    floor = min(0.0, float(np.nanmin(view.signal_low[seen])), view.release)
    top = max(float(np.nanmax(view.signal_high[seen])), view.operate)
    if 0 < _STEEP * view.operate < top:
        axes.set_yscale("symlog", linthresh=view.operate)
        axes.yaxis.set_major_formatter(ScalarFormatter())
        axes.set_ylim(1.3 * floor - 0.1 * view.operate, 1.4 * top)
    else:
        axes.set_ylim(floor - 0.03 * (top - floor), top + 0.1 * (top - floor))


def _draw_places(axes: Axes, view: SensorView) -> None:
    rows = ["trip zone", "made (nominal)"]
    if np.isfinite(view.trip_zone_mm).all():
        low, high = view.trip_zone_mm
        axes.barh(0, high - low, left=low, height=0.5, color=SAND, edgecolor=INK, lw=0.7)
    if np.isfinite(view.trip_band_mm).all():
        low, high = view.trip_band_mm
        axes.barh(0, high - low, left=low, height=0.5, color=PAPER, hatch="////", edgecolor=INK, lw=0.7)
    for number, (low, high) in enumerate(view.zones_mm):
        fill, hatch = (BLUE, "") if number == 0 else (PAPER, "xxxx")
        axes.barh(1, high - low, left=low, height=0.5, color=fill, hatch=hatch, edgecolor=INK, lw=0.7)
        if number:
            axes.annotate("other place", ((low + high) / 2, 1), xytext=(0, 10), textcoords="offset points",
                          ha="center", fontsize=7.5)  # fmt: skip
    for place, text, side in ((view.trip_mm, "trips", "right"), (view.release_mm, "lets go", "left")):
        if np.isfinite(place):
            axes.axvline(place, color=GREY, lw=1.0, ls=(0, (1, 1.5)))
            away = (-3 if side == "right" else 3, 0)
            axes.annotate(f"{text} {plain(place, 1)}", (place, -0.75), xytext=away, ha=side, va="center",
                          textcoords="offset points", fontsize=7.5)  # fmt: skip
    axes.axvline(0, color=INK, lw=1.8)
    axes.set_yticks(range(2), rows)
    axes.set_ylim(1.7, -1.2)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("carriage height above the hard stop [mm]")
