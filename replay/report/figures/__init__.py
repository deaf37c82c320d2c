"""Pictures of one log, drawn with matplotlib's object interface only (no window, no global state).

Marks differ in shape, line style, hatching and lightness, so that a black-and-white print says the same.
"""

from __future__ import annotations

from replay.report.figures.gather import Picture, pictures_of

__all__ = ["Picture", "pictures_of"]
