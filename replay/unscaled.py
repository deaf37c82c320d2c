"""Logs whose scale nobody knows: lengths in counts, and what can be judged without millimetres.

Inside, such a log is followed on a working scale, which says nothing about its true size. What is told to a
reader is therefore in counts, and a visit is an overrun only on evidence that holds at any scale.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from replay.causes.case import Case
from replay.diagnosis import Cause, EdgeChart, Finding, Visit
from replay.facts import Facts
from replay.track import Track
from replay.visits import Visits

#: A visit stands out when it went this many times as far as the ones it is compared with,
STANDS_OUT = 4.0
#: and this share of the log's own travel: own choice, the least that is no ragged edge.
LEAST_SHARE = 0.01
#: Visits fewer than this are no measure of what is usual.
FEWEST = 2
#: Only ways inwards of about the same length are compared: a back-off at the sensor is no approach.
ALIKE_DROP = 3.0
#: or, for later visits, of speeds up to this many times apart.
ALIKE_SPEED = 2.0
#: A lift that runs on as far as it came in this time [s] is not stopping: ramps take less than half of it.
LONGEST_STOP_S = 0.25
#: Log odds from which a cause has left a plain trace: 20 times as likely as not.
TRACE = 3.0
#: Causes that are an overrun by themselves, at any scale: string paid out, or wound the wrong way round.
TELLING = (Cause.SLACK_PAYOUT, Cause.REVERSE_WRAP, Cause.PRESSING_ON_STOP)
#: Where lengths in a sentence begin and end: numbers joined by small words in front of the unit.
_LENGTHS = re.compile(r"[-+]?\d+(?:\.\d+)?(?: (?:of the|of|to|and) [-+]?\d+(?:\.\d+)?)* mm\b")
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")


def standing_out(track: Track, visits: Visits) -> tuple[Visit, float] | None:
    """The first visit that went far past its trip beside the visits like it, and how many times as far."""
    travel = float(np.ptp(track.height))
    for visit in visits.visits:
        usual = _usual(visits, visit)
        if usual is None:
            continue
        times = visit.overtravel / max(usual, track.quantum)
        if times > STANDS_OUT and visit.overtravel > max(LEAST_SHARE * travel, 3 * track.quantum):
            return visit, times
    return None


def _usual(visits: Visits, visit: Visit) -> float | None:
    """Median overtravel of the like visits before, or of all like ones where those are too few.

    A first arrival is faster than the creeping ones that follow it, and goes further without any fault: what
    comes later is like it only at about the same speed.
    """
    drop = visits.descent(visit).drop
    like = [
        each
        for each in visits.visits
        if each is not visit and drop / ALIKE_DROP < visits.descent(each).drop < drop * ALIKE_DROP
    ]
    before = [each.overtravel for each in like if each.number < visit.number]
    if len(before) >= FEWEST:
        return float(np.median(before))
    as_fast = [each.overtravel for each in like if each.approach_speed * ALIKE_SPEED > visit.approach_speed]
    return float(np.median(as_fast)) if len(as_fast) >= FEWEST else None


def paid_out(visit: Visit, cases: Mapping[Cause, Case]) -> Cause | None:
    """The cause that is an overrun at any scale: string was paid out for longer than any stop takes.

    None where no such cause left a plain trace, or where the lift ran on no longer than a stop may.
    """
    on = visit.run_on if np.isfinite(visit.run_on) else visit.overtravel
    if max(on, visit.deepest - visit.overtravel) < LONGEST_STOP_S * visit.approach_speed:
        return None
    best = max(TELLING, key=lambda cause: cases[cause].odds)
    return best if cases[best].odds > TRACE else None


def unknown_scale(facts: Facts, visit: Visit) -> tuple[str, Finding]:
    """What is said where only millimetres would tell: the reason, and the finding that names the scale."""
    track = facts.track
    share = visit.overtravel / max(float(np.ptp(track.height)), 1e-9)
    reason = (
        f"visit {visit.number} went {visit.overtravel / track.scale:.0f} counts past the trip, {share:.1%} "
        "of the log's own travel; whether that is too far only its scale would tell"
    )
    finding = Finding(
        cause=Cause.CANNOT_TELL,
        score=1.0,
        t_s=visit.t_s,
        rows=track.rows(visit.at, visit.stand),
        for_=("no scale is known: mm_per_count is missing", reason),
        against=(),
        next_test="give mm_per_count in [log], or a lift file: counts over a measured way of the carriage",
    )
    return reason, finding


def in_counts(sentence: str, mm_per_count: float) -> str:
    """A sentence with its working millimetres turned into counts.

    Examples
    --------
    >>> in_counts("row 7: the lift went 12.0 of the 48 mm on at 6 mm/s, -3 to 3 mm", 0.5)
    'row 7: the lift went 24 of the 96 counts on at 12 counts/s, -6 to 6 counts'
    """

    def turned(found: re.Match[str]) -> str:
        words = _NUMBER.sub(lambda number: _count(number.group(), mm_per_count), found.group())
        return words.removesuffix("mm") + "counts"

    return _LENGTHS.sub(turned, sentence)


def _count(number: str, mm_per_count: float) -> str:
    sign = "+" if number.startswith("+") else ""
    return f"{sign}{float(number) / mm_per_count:.0f}"


def findings_in_counts(findings: Sequence[Finding], mm_per_count: float) -> tuple[Finding, ...]:
    """Findings with their evidence in counts."""
    return tuple(
        replace(
            each,
            for_=tuple(in_counts(line, mm_per_count) for line in each.for_),
            against=tuple(in_counts(line, mm_per_count) for line in each.against),
            contribution_mm=None,
        )
        for each in findings
    )


def chart_in_counts(chart: EdgeChart, mm_per_count: float) -> EdgeChart:
    """An edge chart with its words in counts."""
    return replace(chart, words=in_counts(chart.words, mm_per_count))
