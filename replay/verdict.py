"""Whether a lift overran, in which visit, and in words why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from replay.causes.case import Case
from replay.diagnosis import Cause, Finding, Verdict, Visit
from replay.facts import Facts
from replay.track import Track
from replay.unscaled import paid_out, standing_out, unknown_scale
from replay.visits import Visits

#: Overtravel limit without a lift file [mm].
LIMIT_MM = 15.0
#: A lift that stood in time and was then wound out beyond this many limits has paid out slack.
PAID_OUT = 1.5
#: Overtravel of this share of the limit is plainly past it, whatever the edge's interval.
PLAIN_SHARE = 1.2


def suspect(track: Track, visits: Visits, limit: float) -> Visit | None:
    """The visit to look at: without a scale the first that stands out, else the first past the limit."""
    if not track.scaled:
        found = standing_out(track, visits)
        if found is not None:
            return found[0]
    return first_past(visits.visits, limit)


def first_past(visits: tuple[Visit, ...], limit: float) -> Visit | None:
    """The first visit plainly past the limit; failing that the first past it.

    Plainly: by more than its edge is uncertain, or by `PLAIN_SHARE`.
    """
    past = [each for each in visits if overran(each, limit)]
    plain = [
        each
        for each in past
        if (way := max(each.overtravel, each.deepest / PAID_OUT)) > PLAIN_SHARE * limit
        or way - each.edge_doubt > limit
    ]
    return next(iter(plain or past), None)


def overran(visit: Visit, limit: float) -> bool:
    """Past the limit at the first standstill, or far past it (`PAID_OUT`) before it went out again."""
    return visit.overtravel > limit or visit.deepest > PAID_OUT * limit


def judged(facts: Facts, cases: Mapping[Cause, Case]) -> tuple[Verdict, str, Finding | None]:
    """The verdict, the reason, and the finding that stands alone where only a scale is missing."""
    if facts.bad is not None:
        return _past(facts, facts.bad) if facts.track.scaled else _unscaled(facts, facts.bad, cases)
    return (*_nothing_past(facts), None)


def _past(facts: Facts, bad: Visit) -> tuple[Verdict, str, None]:
    way = bad.overtravel if bad.overtravel > facts.limit else bad.deepest
    reason = (
        f"visit {bad.number} of {len(facts.visits.visits)} went {way:.1f} mm past the trip; "
        f"the limit is {facts.limit:g}"
    )
    return Verdict.OVERRUN, reason, None


def _unscaled(facts: Facts, bad: Visit, cases: Mapping[Cause, Case]) -> tuple[Verdict, str, Finding | None]:
    """Without a scale: beside the visits like it, or by a trace that needs none."""
    place = f"visit {bad.number} of {len(facts.visits.visits)}"
    way = f"{bad.overtravel / facts.track.scale:.0f} counts past the trip"
    found = standing_out(facts.track, facts.visits)
    if found is not None:
        return Verdict.OVERRUN, f"{place} went {way}, {found[1]:.0f} times as far as the visits like it", None
    cause = paid_out(bad, cases)
    if cause is not None:
        return Verdict.OVERRUN, f"{place} went {way}, and the log shows {cause.words}", None
    reason, finding = unknown_scale(facts, bad)
    return Verdict.CANNOT_TELL, reason, finding


def unsettled(
    facts: Facts, verdict: Verdict, reason: str, findings: Sequence[Finding]
) -> tuple[Verdict, str]:
    """The verdict once causes are known: an anomaly in a log without a scale leaves it open."""
    if facts.track.scaled or verdict is not Verdict.NO_OVERRUN or not findings:
        return verdict, reason
    return Verdict.CANNOT_TELL, f"{reason}; the log shows {findings[0].cause.words}, but not how far it led"


def _nothing_past(facts: Facts) -> tuple[Verdict, str]:
    visits, track = facts.visits.visits, facts.track
    if not visits:
        if track.made is None or not track.made.any():
            lacking = "no sensor column" if track.made is None else "the sensor was never made"
            return Verdict.CANNOT_TELL, f"no arrival at the retracted end can be told: {lacking}"
        return Verdict.NO_OVERRUN, "the lift never came in past its sensor"
    if track.made is None:
        return (
            Verdict.CANNOT_TELL,
            "there is no sensor column: rest heights agree, but the trip is not in the log",
        )
    worst = max(visits, key=lambda each: each.overtravel)
    if not track.scaled:
        return Verdict.NO_OVERRUN, (
            f"none of {len(visits)} visits stands out; the farthest went "
            f"{worst.overtravel / track.scale:.0f} counts past the trip (no scale is known)"
        )
    return Verdict.NO_OVERRUN, (
        f"{len(visits)} visits kept within {facts.limit:g} mm; the farthest went {worst.overtravel:.1f}"
    )
