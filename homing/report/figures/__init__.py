"""Pictures of results, drawn with matplotlib's object interface only (no window, no global state).

Each module makes one kind of picture from a result and returns a ``Figure``; ``all_figures`` gathers those
of a verification in the order of the page. Marks differ in line style, hatching and lightness, so that
a black-and-white print says the same as the screen.
"""

from __future__ import annotations

from homing.report.figures.gather import Picture, all_figures
from homing.report.figures.style import png, svg

__all__ = ["Picture", "all_figures", "png", "svg"]
