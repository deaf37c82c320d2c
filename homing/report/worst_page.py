"""The worst case and small probabilities as they stand on the page of a verification."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from homing.report import wording
from homing.report.figures import Picture
from homing.report.rare_words import rate
from homing.report.worst_picture import worst_picture
from homing.report.worst_words import NO_DEPARTURE, found, how, least, limits_of_search, tried

if TYPE_CHECKING:
    from homing.rare.study import SmallRate
    from homing.worst.departures import Departure
    from homing.worst.study import WorstCase

#: Name of the picture's files, and of its place on the page.
NAME = "worst_case"


@dataclass(frozen=True)
class WorstTold:
    """The worst case in sentences and rows."""

    found: str
    fails: bool
    sentences: tuple[str, ...]
    least: tuple[tuple[str, str, bool], ...]
    departures: tuple[Departure, ...]
    how: str
    case_file: str
    timing_from: bool


@dataclass(frozen=True)
class OnPage:
    """What a page shows beyond the ensemble; ``rates`` are pairs of requirement and what was estimated."""

    pictures: tuple[Picture, ...] = ()
    worst: WorstTold | None = None
    rates: tuple[tuple[str, str], ...] | None = None


def on_page(worst: WorstCase | None, rates: tuple[SmallRate, ...] | None, case_file: str) -> OnPage:
    """Draw and word what was looked for."""
    return OnPage(
        () if worst is None else (_picture(worst),),
        None if worst is None else _told(worst, case_file),
        None if rates is None else tuple((wording.title(each.requirement), rate(each)) for each in rates),
    )


def _told(worst: WorstCase, case_file: str) -> WorstTold:
    none = () if worst.departures else (NO_DEPARTURE,)
    return WorstTold(
        found=found(worst),
        fails=worst.fails,
        sentences=(tried(worst), *limits_of_search(worst), *none),
        least=tuple(
            (wording.title(each.requirement), least(each, worst.tried), each.failing > 0)
            for each in worst.least
        ),
        departures=worst.departures,
        how=how(worst.run, worst.lift),
        case_file=case_file,
        timing_from=worst.case.timing_mark is not None,
    )


def _picture(worst: WorstCase) -> Picture:
    caption = (
        "The nominal run beside the worst case found. Dotted: the height at which each tripped; shaded: late "
        "loops of the worst case."
    )
    return Picture(NAME, caption, worst_picture(worst.nominal, worst.run, worst.lift))
