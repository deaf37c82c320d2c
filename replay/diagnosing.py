"""From a log to a diagnosis.

The flow: log -> track (motion without resets) -> visits -> verdict and the visit in question -> the case
for each cause -> odds with priors, effects explained away by what came first -> ranked findings.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from replay.budget import stop_budget
from replay.causes import JUDGES
from replay.diagnosis import Diagnosis, Verdict, Visit
from replay.edges import edge_chart
from replay.facts import Facts
from replay.log import Log
from replay.ranking import ranked_findings
from replay.track import Track, track_of
from replay.visits import Visits, visits_of
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Overtravel limit without a lift file [mm].
LIMIT_MM = 15.0
#: A lift that stood in time and was then wound out beyond this many limits has paid out slack.
PAID_OUT = 1.5
#: Overtravel of this share of the limit is plainly past it, whatever the edge's interval.
PLAIN_SHARE = 1.2


def diagnose(
    log: Log, lift: Lift | None = None, limit_mm: float | None = None, kind: SensorKind | None = None
) -> Diagnosis:
    """Find every visit of a log and explain an overrun.

    Parameters
    ----------
    log : Log
        The log, from `replay.read_log`.
    lift : Lift, optional
        Gives the scale, the limit and the sensor's kind.
    limit_mm : float, optional
        Overtravel limit [mm]; goes before the lift's. Without either it is `LIMIT_MM`.
    kind : SensorKind, optional
        What the sensor goes by, where no lift says it.

    Returns
    -------
    Diagnosis
    """
    if lift is not None:
        log = log.scaled(lift.drive.mm_per_count)
    limit = limit_mm if limit_mm is not None else _limit(lift)
    track = track_of(log)
    visits = visits_of(track)
    chart = edge_chart(visits.visits, "mm" if track.scaled else "units")
    bad = _bad_visit(visits.visits, limit)
    facts = Facts(track, visits, bad, limit, kind if kind is not None else _kind(lift), chart)
    verdict, reason = _verdict(facts)
    cases = {cause: judge(facts) for cause, judge in JUDGES.items()}
    findings = ranked_findings(facts, cases, verdict)
    return Diagnosis(
        log=log,
        visits=visits.visits,
        verdict=verdict,
        reason=reason,
        bad_visit=bad,
        findings=findings,
        budget=stop_budget(facts),
        edge_chart=chart,
        limit_mm=limit,
        scaled=track.scaled,
        missing=facts.missing,
        notes=_notes(track, visits),
    )


def _bad_visit(visits: tuple[Visit, ...], limit: float) -> Visit | None:
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


def _limit(lift: Lift | None) -> float:
    return LIMIT_MM if lift is None else float(lift.requirements.overtravel_mm)


def _kind(lift: Lift | None) -> SensorKind | None:
    if lift is None or not lift.sensors:
        return None
    name = lift.routine.sensor
    sensor = next((each for each in lift.sensors if each.name == name), lift.sensors[0])
    return SensorKind[str(getattr(sensor.kind, "name", sensor.kind)).upper()]


def _notes(track: Track, visits: Visits) -> tuple[str, ...]:
    notes = []
    if not track.scaled:
        notes.append("no scale is known: the range of the counts was taken as 400 mm to judge by")
    if track.turned:
        notes.append("the count falls on the way out; heights are shown with its sign turned")
    short = len(visits.descents) - len(visits.visits)
    if short:
        notes.append(f"{short} ways inwards ended above the trip and are no arrivals")
    return tuple(notes)


def _verdict(facts: Facts) -> tuple[Verdict, str]:
    bad, visits = facts.bad, facts.visits.visits
    unit = "mm" if facts.track.scaled else "units of the log's own range (400)"
    if bad is not None:
        way = bad.overtravel if bad.overtravel > facts.limit else bad.deepest
        return Verdict.OVERRUN, (
            f"visit {bad.number} of {len(visits)} went {way:.1f} {unit} past the trip; "
            f"the limit is {facts.limit:g}"
        )
    if not visits:
        if facts.track.made is None or not facts.track.made.any():
            lacking = "no sensor column" if facts.track.made is None else "the sensor was never made"
            return Verdict.CANNOT_TELL, f"no arrival at the retracted end can be told: {lacking}"
        return Verdict.NO_OVERRUN, "the lift never came in past its sensor"
    if facts.track.made is None:
        return (
            Verdict.CANNOT_TELL,
            "there is no sensor column: rest heights agree, but the trip is not in the log",
        )
    worst = max(visits, key=lambda each: each.overtravel)
    return Verdict.NO_OVERRUN, (
        f"{len(visits)} visits kept within {facts.limit:g} {unit}; the farthest went {worst.overtravel:.1f}"
    )
