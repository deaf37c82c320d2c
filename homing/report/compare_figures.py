"""All pictures of a comparison, named and captioned, in the order of the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from homing.maps.axes import SPEED_KEY, height_key
from homing.report.figures.curves import candidate_curves
from homing.report.figures.gather import Picture
from homing.report.figures.maps import Marks, margin_figure
from homing.report.figures.paper import Drawing
from homing.report.figures.sketch import mounting_sketch
from homing.report.figures.sketchplan import plan_of

if TYPE_CHECKING:
    from homing.compare.results import Comparison
    from homing.maps.study import MarginMap

SKETCH = "mounting_sketch"


def curves_picture(comparison: Comparison) -> Picture:
    """Every candidate's response on one axis."""
    caption = (
        "Every candidate along the travel. Their quantities differ, so each signal is drawn as its way from "
        "what it is far from the target (0) to its operate threshold (1); curves end above 2.6. Below: where "
        "each is made on the way in, where it trips over the tolerances, where it lets go on the way out."
    )
    return Picture("response_curves", caption, candidate_curves(comparison.candidates))


def map_pictures(comparison: Comparison, maps: Sequence[MarginMap]) -> tuple[Picture, ...]:
    """The margin maps of the best candidate."""
    marks = advised(comparison)
    return tuple(Picture(each.name, _caption(each), margin_figure(each, marks)) for each in maps)


def _caption(found: MarginMap) -> str:
    return (
        f"Margin of the worst requirement over {found.x.title} and {found.y.title}; it is named where it is "
        "the worst. Everything else is as in the lift file."
    )


def advised(comparison: Comparison) -> Marks:
    """Advised mounting height and fastest approach of the best candidate, by the key of their axis."""
    advice, lift = comparison.advice, comparison.best.lift
    if advice is None or advice.sensor != comparison.best.name:
        return {}
    found = {SPEED_KEY: (advice.fastest_mm_s, "fastest approach as mounted")}
    key = height_key(lift)
    if key is not None and key.endswith("mount_mm"):
        found[key] = (advice.best_mm, "advised mounting height")
    return {key: mark for key, mark in found.items() if math.isfinite(mark[0])}


def sketch(comparison: Comparison) -> tuple[Drawing, str] | None:
    """Mounting sketch of the best candidate and its title; None where nothing is to be mounted."""
    best, advice = comparison.best, comparison.advice
    plan = plan_of(best, advice if advice is not None and advice.sensor == best.name else None)
    return None if plan is None else (mounting_sketch(plan), plan.title)
