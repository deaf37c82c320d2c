"""A diagnosis and its motion as the report shows them: in counts where no scale is known."""

from __future__ import annotations

from dataclasses import replace

from replay.diagnosis import Diagnosis, EdgeChart, Visit
from replay.track import Track

#: Fields of a visit and of a track that are lengths or speeds.
VISIT_LENGTHS = (
    "approach_speed", "edge", "edge_low", "edge_high", "edge_logged", "read_low", "read_high", "overtravel",
    "deepest", "rest", "run_on",
)  # fmt: skip
TRACK_LENGTHS = ("height", "rate", "speed", "still", "quantum")


def shown_track(track: Track) -> Track:
    """The motion in counts where no scale is known."""
    if track.scaled:
        return track
    return replace(track, **{name: getattr(track, name) / track.scale for name in TRACK_LENGTHS})


def shown_diagnosis(found: Diagnosis, mm_per_count: float) -> Diagnosis:
    """The diagnosis in counts where no scale is known.

    No limit in mm can be held against counts: it becomes NaN, and is not drawn.
    """
    if found.scaled:
        return found
    bad = found.bad_visit
    return replace(
        found,
        visits=tuple(_visit(each, mm_per_count) for each in found.visits),
        bad_visit=None if bad is None else _visit(bad, mm_per_count),
        budget=tuple(
            replace(
                each, mm=each.mm / mm_per_count, low=each.low / mm_per_count, high=each.high / mm_per_count
            )
            for each in found.budget
        ),
        edge_chart=_chart(found.edge_chart, mm_per_count),
        limit_mm=float("nan"),
    )


def _visit(visit: Visit, mm_per_count: float) -> Visit:
    return replace(visit, **{name: getattr(visit, name) / mm_per_count for name in VISIT_LENGTHS})


def _chart(chart: EdgeChart, mm_per_count: float) -> EdgeChart:
    return replace(
        chart,
        size=chart.size / mm_per_count,
        edges=tuple(each / mm_per_count for each in chart.edges),
        half_widths=tuple(each / mm_per_count for each in chart.half_widths),
    )
