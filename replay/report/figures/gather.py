"""All pictures of one log, in the order of the page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from matplotlib.figure import Figure

from replay.report.analysis import Analysis
from replay.report.figures import bars, edges
from replay.report.figures.timeline import timeline
from replay.report.figures.zoom import visit_zoom


@dataclass(frozen=True)
class Picture:
    """A picture, the end of its file name, and what it shows."""

    name: str
    figure: Figure
    caption: str


_WHAT_IF = (
    "The bad visit simulated again with one change at a time: median and 95 % interval, which holds the "
    "uncertainty of the lift's values and the model's error (as it was, against the dotted logged value)."
)
_CAPTIONS = {
    "visit": "The visit in question, row by row. Shaded and dotted: the rows in which the best cause acted.",
    "budget": "Where the way past the trip went, from the log; orange: what it cannot resolve.",
    "what_if": _WHAT_IF,
    "edges": "Height at which the sensor changed on the way in, over the visits.",
    "timeline": "All channels over the whole log.",
}


def pictures_of(analysis: Analysis) -> tuple[Picture, ...]:
    """Draw everything that there is to draw for a log."""
    return tuple(_pictures(analysis))


def _pictures(analysis: Analysis) -> Iterator[Picture]:
    found = analysis.shown
    drawn = {
        "visit": visit_zoom(analysis.shown_track, found),
        "budget": bars.budget(found),
        "what_if": bars.what_if(analysis.what_ifs, found),
        "edges": edges.edges(found),
        "timeline": timeline(found.log, found.visits, found.bad_visit),
    }
    for name, made in drawn.items():
        if made is not None:
            yield Picture(name, made, _CAPTIONS[name])
