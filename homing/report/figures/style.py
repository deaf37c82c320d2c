"""One look for all pictures, and how they become files.

Colours are from the set of Okabe and Ito, chosen to stay apart for colour-blind readers (from memory),
and used in steps of lightness, so that they stay apart in grey as well.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine

INK = "#1b1f24"
GREY = "#6b7280"
FAINT = "#d5d9de"
PAPER = "#ffffff"
BLUE = "#0072b2"
ORANGE = "#d55e00"
SKY = "#9fd3ef"
SAND = "#f3e6c4"

WIDTH_IN = 7.4
DPI = 150
#: Digits of a place on the figure, as a share of it: a hundredth of a pixel and less.
PLACES = 6
#: Names which the SVG writer makes from the bits of a path.
HASHED = re.compile(r'(?<=[-"#])[a-zA-Z][0-9a-f]{10}\b')

RC: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.titlesize": 9,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 8.5,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "axes.axisbelow": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.6,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8,
    "text.color": INK,
    "legend.fontsize": 8,
    "legend.frameon": False,
    "legend.handlelength": 2.6,
    "lines.linewidth": 1.3,
    "hatch.linewidth": 0.6,
    # letters as wide at every resolution, so that one layout serves PNG and SVG
    "text.hinting": "no_hinting",
    "figure.dpi": DPI,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "path",
    "svg.hashsalt": "downstop",
}


@contextmanager
def look() -> Iterator[None]:
    """Our settings, and nobody else's, while a picture is made or saved."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(RC)
        yield


def figure(height_in: float) -> Figure:
    """Empty figure of the page's width which can be saved without a window."""
    made = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    FigureCanvasAgg(made)
    return made


def grid(axes: Axes, axis: str = "both") -> None:
    """Faint lines behind the data."""
    axes.grid(True, axis=axis)  # type: ignore[arg-type]


def _settle(made: Figure) -> None:
    """Work out the layout once, not at every saving.

    Places are rounded: their last bits are not the same from one time to the next, and show in files.
    """
    if isinstance(made.get_layout_engine(), ConstrainedLayoutEngine):
        made.draw_without_rendering()
        made.set_layout_engine("none")
        for axes in made.axes:
            axes.set_position(tuple(round(each, PLACES) for each in axes.get_position().bounds))


def png(made: Figure) -> bytes:
    """The picture as PNG."""
    with look(), io.BytesIO() as stream:
        _settle(made)
        # the canvas itself: savefig() would draw everything once more to no end
        FigureCanvasAgg(made).print_png(stream, metadata={"Software": None})  # type: ignore[no-untyped-call]
        return stream.getvalue()


def svg(made: Figure, prefix: str) -> str:
    """The picture as an ``<svg>`` element; identifiers begin with ``prefix``, so that several fit one page.

    Letters are drawn as outlines: the picture looks the same where its typeface is not installed.
    """
    with look(), io.StringIO() as stream:
        _settle(made)
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        FigureCanvasSVG(made).print_svg(stream, metadata=nothing)  # type: ignore[no-untyped-call]
        FigureCanvasAgg(made)
        made.dpi = DPI
        text = stream.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    # the writer repeats every word in a comment, where it is of no use
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    text = re.sub(r' d="[^"]*"', _short, text)
    text = _named_in_order(text)
    return re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{prefix}-", text)


def _short(path: re.Match[str]) -> str:
    """A path with coordinates to a hundredth of a point, which no printer resolves, and no line breaks."""
    return re.sub(r"(\.\d\d)\d+", r"\1", path[0]).replace(" \n", " ").replace("\n", " ")


def _named_in_order(text: str) -> str:
    """Hashed names as running numbers, so that the last bit of a coordinate does not change the file."""
    numbers: dict[str, str] = {}
    return HASHED.sub(lambda found: numbers.setdefault(found[0], f"n{len(numbers) + 1}"), text)
