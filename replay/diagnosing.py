"""From a log to a diagnosis.

The flow: log -> track (motion without resets) -> visits -> verdict and the visit in question -> the case
for each cause -> odds with priors, effects explained away by what came first -> ranked findings.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from replay.budget import stop_budget
from replay.causes import JUDGES
from replay.diagnosis import Cause, Diagnosis, Finding, Verdict
from replay.edges import edge_chart
from replay.facts import Facts
from replay.liftmatch import against_lift
from replay.log import Log
from replay.ranking import ranked_findings
from replay.sightings import PROMPT, ReadingAge
from replay.track import Track, track_of
from replay.unscaled import chart_in_counts, findings_in_counts
from replay.verdict import LIMIT_MM, judged, suspect, unsettled
from replay.visits import Visits, visits_of
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift

MS = 1e-3
#: Causes that act between the trip and the first made reading.
LATE = (Cause.LATE_LOOP, Cause.STALE_READING)


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
    track, visits, foreign = followed(log, lift)
    if foreign:
        lift = None
    limit = limit_mm if limit_mm is not None else _limit(lift)
    # millimetres mean nothing on a working scale: there the share that LIMIT_MM makes of it is a first sieve
    working = limit if track.scaled else LIMIT_MM
    facts = _facts(track, visits, working, kind if kind is not None else _kind(lift))
    verdict, reason, findings = _explained(facts)
    if verdict is Verdict.CANNOT_TELL:
        facts = replace(facts, bad=None)
    chart = facts.chart
    if not track.scaled:
        findings = findings_in_counts(findings, track.scale)
        chart = chart_in_counts(chart, track.scale)
    return Diagnosis(
        log=track.log,
        visits=visits.visits,
        verdict=verdict,
        reason=reason,
        bad_visit=facts.bad,
        findings=findings,
        budget=stop_budget(facts),
        edge_chart=chart,
        limit_mm=limit,
        scaled=track.scaled,
        missing=facts.missing,
        notes=(*foreign, *_notes(track, visits, limit_mm)),
        lift_fits=not foreign,
    )


def _facts(track: Track, visits: Visits, limit: float, kind: SensorKind | None) -> Facts:
    """What the causes look at: the visit in question and the edges of all."""
    return Facts(track, visits, suspect(track, visits, limit), limit, kind, edge_chart(visits.visits))


def followed(log: Log, lift: Lift | None) -> tuple[Track, Visits, tuple[str, ...]]:
    """The motion and its visits, with the lift's scale where the log has none and the lift can be the log's.

    Returns what was said against the lift as well: with anything said, the log is followed without it.
    """
    own = log.mm_per_count is not None
    track = track_of(log if lift is None else log.scaled(lift.drive.mm_per_count))
    visits = visits_of(track, reading_age(lift))
    said = () if lift is None else against_lift(track, visits, lift)
    if said and not own:
        track = track_of(log)
        visits = visits_of(track)
    return track, visits, said


def reading_age(lift: Lift | None) -> ReadingAge:
    """How old the readings of this lift's sensor are."""
    if lift is None or not lift.sensors:
        return PROMPT
    key, given = f"sensor.{lift.sensor().name}", lift.quantities()
    periods = [given.get(f"{key}.{word}", 0.0) for word in ("sample_period_ms", "update_period_ms")]
    return ReadingAge(lift.controller.sensor_latency_ms * MS, max(periods) * MS)


def _explained(facts: Facts) -> tuple[Verdict, str, tuple[Finding, ...]]:
    """Verdict, reason and findings."""
    cases = {cause: judge(facts) for cause, judge in JUDGES.items()}
    verdict, reason, alone = judged(facts, cases)
    if alone is not None:
        return verdict, reason, (alone,)
    findings = bounded(facts, ranked_findings(facts, cases, verdict))
    return (*unsettled(facts, verdict, reason, findings), findings)


def bounded(facts: Facts, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings that are answerable for no more than was overrun.

    A late loop and a late reading cost the way past the trip until the reading came, as the budget counts
    it; nothing else can cost more than the visit went past the trip at most.
    """
    bad = facts.bad
    if bad is None:
        return findings
    most = max(bad.overtravel, bad.deepest)

    def cost(finding: Finding) -> float | None:
        if finding.contribution_mm is None:
            return None
        unread = facts.unread_way if finding.cause in LATE else 0.0
        return unread or min(finding.contribution_mm, most)

    return tuple(replace(each, contribution_mm=cost(each)) for each in findings)


def _limit(lift: Lift | None) -> float:
    return LIMIT_MM if lift is None else float(lift.requirements.overtravel_mm)


def _kind(lift: Lift | None) -> SensorKind | None:
    if lift is None or not lift.sensors:
        return None
    name = lift.routine.sensor
    sensor = next((each for each in lift.sensors if each.name == name), lift.sensors[0])
    return SensorKind[str(getattr(sensor.kind, "name", sensor.kind)).upper()]


def _notes(track: Track, visits: Visits, limit_mm: float | None) -> tuple[str, ...]:
    notes = []
    if not track.scaled:
        notes.append("no scale is known (mm_per_count, or a lift file): lengths are in counts")
        if limit_mm is not None:
            notes.append(f"a limit of {limit_mm:g} mm cannot be held against counts")
    if track.turned:
        notes.append("the count falls on the way out; heights are shown with its sign turned")
    short = len(visits.descents) - len(visits.visits)
    if short == 1:
        notes.append("1 way inwards ended above the trip and is no arrival")
    elif short:
        notes.append(f"{short} ways inwards ended above the trip and are no arrivals")
    return tuple(notes)
