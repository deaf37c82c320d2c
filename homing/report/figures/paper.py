"""Drawings in true millimetres on paper, written as SVG whose user unit is 1 mm, as PDF and as PNG.

Coordinates are millimetres from the upper left corner of the sheet, y downwards. A drawing is a list of
marks; ``to_svg`` and ``to_figure`` draw each of them alike, so that screen, print and PDF show the same.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
from matplotlib import patches
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure

from homing.report.figures.style import INK, PAPER, look

#: Fits on A4 (210 x 297) and on letter paper (215.9 x 279.4).
SHEET_MM = (210.0, 279.0)
#: The nearest that printers come to the edge of the paper, with room to spare.
EDGE_MM = 10.0
MM_PER_IN = 25.4
POINTS_PER_MM = 72.0 / MM_PER_IN
THIN, MIDDLE, THICK = 0.18, 0.35, 0.7
ARROW_LENGTH, ARROW_WIDTH = 2.4, 0.8
TYPEFACES = "DejaVu Sans, Verdana, Arial, sans-serif"

Point = tuple[float, float]


@dataclass(frozen=True)
class Stroke:
    """A polyline; ``fill`` closes and fills it. ``name`` becomes the element's id."""

    points: tuple[Point, ...]
    width: float = MIDDLE
    dashes: tuple[float, ...] = ()
    colour: str = INK
    fill: str = ""
    name: str = ""


@dataclass(frozen=True)
class Words:
    """One line of text; ``size`` is the height of the typeface, ``turned`` reads from below upwards."""

    at: Point
    text: str
    size: float = 3.0
    anchor: str = "start"
    bold: bool = False
    turned: bool = False


@dataclass
class Drawing:
    """A sheet that marks are put on, in the order in which they cover each other."""

    marks: list[Stroke | Words] = field(default_factory=list)

    def line(self, start: Point, end: Point, width: float = MIDDLE, **more: object) -> None:
        """A straight line."""
        self.marks.append(Stroke((start, end), width, **more))  # type: ignore[arg-type]

    def shape(self, points: Sequence[Point], fill: str = PAPER, **more: object) -> None:
        """A filled outline."""
        self.marks.append(Stroke(tuple(points), fill=fill, **more))  # type: ignore[arg-type]

    def box(self, corner: Point, opposite: Point, fill: str = PAPER, **more: object) -> None:
        """A rectangle."""
        (x1, y1), (x2, y2) = corner, opposite
        self.shape([(x1, y1), (x2, y1), (x2, y2), (x1, y2)], fill, **more)

    def words(self, at: Point, text: str, size: float = 3.0, **more: object) -> None:
        """A line of text."""
        self.marks.append(Words(at, text, size, **more))  # type: ignore[arg-type]

    def hatch(self, corner: Point, opposite: Point, step: float = 1.6, width: float = THIN) -> None:
        """Lines at 45 degrees inside a rectangle."""
        left, right = sorted((corner[0], opposite[0]))
        top, bottom = sorted((corner[1], opposite[1]))
        # a line is x + y = c; it enters the rectangle at its left or bottom, leaves at its top or right
        for c in np.arange(left + top + step, right + bottom, step).tolist():
            low = (c - bottom, bottom) if c - bottom >= left else (left, c - left)
            high = (c - top, top) if c - top <= right else (right, c - right)
            self.line(low, high, width)

    def arrow(self, tip: Point, way: Point) -> None:
        """An arrowhead at ``tip`` that points along ``way`` (a unit vector)."""
        (x, y), (a, b) = tip, way
        back = (x - ARROW_LENGTH * a, y - ARROW_LENGTH * b)
        side = ARROW_WIDTH / 2.0
        corners = [tip, (back[0] - side * b, back[1] + side * a), (back[0] + side * b, back[1] - side * a)]
        self.shape(corners, INK, width=THIN)

    def dimension(self, start: Point, end: Point, name: str = "") -> None:
        """A dimension line; where it is too short for its arrows, they point inwards from outside."""
        (x1, y1), (x2, y2) = start, end
        length = float(np.hypot(x2 - x1, y2 - y1))
        if length == 0.0:
            return
        way = ((x2 - x1) / length, (y2 - y1) / length)
        back = (-way[0], -way[1])
        self.line(start, end, THIN, name=name)
        if length > 2.5 * ARROW_LENGTH:
            self.arrow(start, back)
            self.arrow(end, way)
            return
        for tip, inwards in ((start, way), (end, back)):
            tail = (tip[0] - 2.0 * ARROW_LENGTH * inwards[0], tip[1] - 2.0 * ARROW_LENGTH * inwards[1])
            self.line(tail, tip, THIN)
            self.arrow(tip, inwards)


def to_svg(drawing: Drawing, title: str) -> str:
    """The drawing as an ``<svg>`` element: as large as the sheet, one user unit one millimetre."""
    width, height = SHEET_MM
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" font-family="{TYPEFACES}" role="img">\n'
        f"<title>{escape(title)}</title>\n"
    )
    body = "\n".join(_svg_of(mark) for mark in drawing.marks)
    return f'{head}<rect width="{width:g}" height="{height:g}" fill="{PAPER}"/>\n{body}\n</svg>\n'


def _svg_of(mark: Stroke | Words) -> str:
    return _svg_words(mark) if isinstance(mark, Words) else _svg_stroke(mark)


def _svg_stroke(mark: Stroke) -> str:
    more = f' id="{mark.name}"' if mark.name else ""
    if mark.dashes:
        more += f' stroke-dasharray="{" ".join(f"{each:g}" for each in mark.dashes)}"'
    style = f'stroke="{mark.colour}" stroke-width="{mark.width:g}"{more}'
    if len(mark.points) == 2 and not mark.fill:
        (x1, y1), (x2, y2) = mark.points
        return f'<line x1="{x1:.3f}" y1="{y1:.3f}" x2="{x2:.3f}" y2="{y2:.3f}" {style}/>'
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in mark.points)
    kind = "polygon" if mark.fill else "polyline"
    return f'<{kind} points="{points}" fill="{mark.fill or "none"}" stroke-linejoin="round" {style}/>'


def _svg_words(mark: Words) -> str:
    x, y = mark.at
    more = ' font-weight="bold"' if mark.bold else ""
    if mark.turned:
        more += f' transform="rotate(-90 {x:.3f} {y:.3f})"'
    style = f'font-size="{mark.size:g}" text-anchor="{mark.anchor}" fill="{INK}"{more}'
    return f'<text x="{x:.3f}" y="{y:.3f}" {style}>{escape(mark.text)}</text>'


def to_figure(drawing: Drawing) -> Figure:
    """The same drawing as a figure of the sheet's size."""
    width, height = SHEET_MM
    with look():
        made = Figure(figsize=(width / MM_PER_IN, height / MM_PER_IN))
        FigureCanvasAgg(made)
        axes = made.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.set_xlim(0.0, width)
        axes.set_ylim(height, 0.0)
        for mark in drawing.marks:
            _draw(axes, mark)
    return made


def _draw(axes: Axes, mark: Stroke | Words) -> None:
    if isinstance(mark, Words):
        _draw_words(axes, mark)
    else:
        _draw_stroke(axes, mark)


def _draw_stroke(axes: Axes, mark: Stroke) -> None:
    width = mark.width * POINTS_PER_MM
    dashes = (0, tuple(each * POINTS_PER_MM for each in mark.dashes)) if mark.dashes else "-"
    if mark.fill:
        made = patches.Polygon(
            mark.points, closed=True, facecolor=mark.fill, edgecolor=mark.colour, lw=width, ls=dashes,
            joinstyle="round",
        )  # fmt: skip
        axes.add_patch(made)
        return
    x, y = zip(*mark.points, strict=True)
    axes.plot(x, y, color=mark.colour, lw=width, ls=dashes, solid_capstyle="butt", scalex=False, scaley=False)


_SIDES = {"start": "left", "middle": "center", "end": "right"}


def _draw_words(axes: Axes, mark: Words) -> None:
    axes.text(
        *mark.at, mark.text.replace("$", r"\$"), fontsize=mark.size * POINTS_PER_MM,
        fontweight="bold" if mark.bold else "normal", ha=_SIDES[mark.anchor], va="baseline",
        rotation=90 if mark.turned else 0, rotation_mode="anchor",
    )  # fmt: skip


def to_pdf(drawing: Drawing) -> bytes:
    """The drawing as a PDF page of the sheet's size; the same bytes every time."""
    made = to_figure(drawing)
    with look(), io.BytesIO() as stream:
        nothing: Any = {"CreationDate": None, "Creator": None, "Producer": None}
        FigureCanvasPdf(made).print_pdf(stream, metadata=nothing)  # type: ignore[no-untyped-call]
        FigureCanvasAgg(made)
        return stream.getvalue()
