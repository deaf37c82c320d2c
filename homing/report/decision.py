"""Decision table for the notebook: magnet, infrared, contact or nothing, with this lift's own numbers.

What was compared speaks with the best-ranked candidate of its kind. Facts of the trade are marked as common
practice without a source; the cost is left to whoever buys.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from homing.report.numbers import percent, plain
from homing.sensortables import ContactTable, DistanceTable, MagnetTable
from homing.values import Spread, typical
from homing.words import MagnetShape

if TYPE_CHECKING:
    from homing.compare.results import CandidateResult, Comparison, MountAdvice

PRACTICE = "common practice, no source"
NOT_COMPARED = "not compared"
#: A speed at which so many passes are seen is one at which it is seen.
SURELY_SEEN = 0.999


@dataclass(frozen=True)
class Statement:
    """One fact; ``practice``: of the trade, without a source, not of this lift."""

    text: str
    practice: bool = False


@dataclass(frozen=True)
class Column:
    """A way to find the end: its title, and the candidate that speaks for it, if any was compared."""

    title: str
    kinds: tuple[str, ...]
    candidate: CandidateResult | None


@dataclass(frozen=True)
class DecisionTable:
    """Columns, and rows of (title, one tuple of statements for each column)."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, tuple[tuple[Statement, ...], ...]], ...]


_COLUMNS = (
    ("magnet", ("magnet",)),
    ("infrared", ("reflective", "distance")),
    ("contact", ("contact",)),
    ("none: hard stop", ("stall",)),
)

#: Facts of the trade, by row and column title.
_PRACTICE = {
    "need of contact": (
        "none, wears nothing",
        "none, wears nothing",
        "pressed at every visit",
        "strikes the stop at every visit",
    ),
    "mounting effort": (
        "two small parts; which pole faces matters, and steel nearby",
        "part and target; keep clean, shade from lamps and sun",
        "one part; placed so that the hard stop bears the load",
        "nothing to mount; needs a limited current",
    ),
    "bounce": (
        "none: a part with hysteresis",
        "chatters at the edge without hysteresis",
        "makes and breaks for milliseconds",
        "the carriage itself may rebound",
    ),
}


def decision_table(comparison: Comparison) -> DecisionTable:
    """The table of a comparison."""
    columns = tuple(Column(title, kinds, _best_of(comparison, kinds)) for title, kinds in _COLUMNS)
    rows: dict[str, Callable[[CandidateResult], str]] = {
        "need of contact": _contact,
        "size of target": _target,
        "mounting effort": _mounting,
        "bounce": _bounce,
        "repeatability": lambda each: _length(each.repeatability_mm, "standard deviation of the edge"),
        "speed allowed": lambda each: _speed(each, comparison.advice),
        "broken wire": _wire,
        "verdict": lambda each: ("holds: " if each.passed else "falls short: ") + each.why,
    }
    found = tuple(
        (title, tuple(_cell(title, place, column, say) for place, column in enumerate(columns)))
        for title, say in rows.items()
    )
    blank: tuple[tuple[Statement, ...], ...] = ((),) * len(columns)
    return DecisionTable(columns, (*found, ("cost", blank)))


def _best_of(comparison: Comparison, kinds: Sequence[str]) -> CandidateResult | None:
    return next((each for each in comparison.candidates if each.kind in kinds), None)


def _cell(
    title: str, place: int, column: Column, say: Callable[[CandidateResult], str]
) -> tuple[Statement, ...]:
    own = NOT_COMPARED if column.candidate is None else say(column.candidate)
    practice = _PRACTICE.get(title)
    told = [Statement(own)] if own else []
    return (*told, Statement(practice[place], practice=True)) if practice else tuple(told)


def _contact(result: CandidateResult) -> str:
    if result.press is not None:
        return result.press.words
    if math.isfinite(result.gap_mm):
        return f"gap of {plain(result.gap_mm, 1)} mm"
    return ""


def _target(result: CandidateResult) -> str:
    table: Any = result.lift.sensor()
    if isinstance(table, MagnetTable):
        magnet = table.magnet
        if magnet.shape is MagnetShape.DISC:
            return f"disc, {typical(magnet.diameter_mm or 0.0):g} x {typical(magnet.height_mm or 0.0):g} mm"
        return f"block, {_sizes(magnet.size_mm or ())} mm"
    if isinstance(table, ContactTable):
        return f"an edge that presses, {plain(result.window_mm, 1)} mm of travel down to the stop"
    if hasattr(table, "target_mm"):
        what = "plate" if isinstance(table, DistanceTable) else "bright target"
        return f"{what}, {_sizes(table.target_mm)} mm"
    return "none"


def _sizes(lengths: Sequence[float]) -> str:
    return " x ".join(f"{each:g}" for each in lengths)


def _mounting(result: CandidateResult) -> str:
    if result.miss or not math.isfinite(result.trip_mm.low) or result.kind == "stall":
        return ""
    half = 0.5 * (result.trip_mm.high - result.trip_mm.low)
    return f"trip height strays by {plain(half, 1)} mm either way over its tolerances"


def _bounce(result: CandidateResult) -> str:
    table: Any = result.lift.sensor()
    if not isinstance(table, ContactTable):
        return ""
    bounce = table.bounce_ms
    return f"up to {bounce.high if isinstance(bounce, Spread) else typical(bounce):g} ms"


def _length(mm: float, words: str) -> str:
    return f"{plain(mm, 2)} mm, {words}" if math.isfinite(mm) else "never zeroed"


def _speed(result: CandidateResult, advice: MountAdvice | None) -> str:
    if result.miss:
        return "none: never made"
    speed = f"{result.lift.routine.fast_speed_mm_s:g} mm/s"
    told = [f"{'every requirement holds' if result.passed else 'falls short'} at {speed}"]
    if advice is not None and advice.sensor == result.name and math.isfinite(advice.fastest_mm_s):
        told.append(f"up to {advice.fastest_mm_s:.0f} mm/s as it is mounted")
    if result.kind != "stall":
        told.append(_seen(result))
    return "; ".join(told)


def _seen(result: CandidateResult) -> str:
    """Up to which speed every pass is as good as seen."""
    rarely = next((each for each in result.seen if each[1] < SURELY_SEEN), None)
    if rarely is None:
        return f"every pass is seen, up to {result.seen[-1][0]:.0f} mm/s and more"
    return f"at {rarely[0]:.0f} mm/s {percent(rarely[1])} of the passes are seen"


def _wire(result: CandidateResult) -> str:
    words = {
        "reads made": "reads made: it stops, and is noticed",
        "reads not made": "reads not made: it comes down unseen",
    }
    return words.get(result.broken_wire, "no wire to break")
