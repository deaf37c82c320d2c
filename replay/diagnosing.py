"""From a log to a diagnosis.

The flow: log -> track (motion without resets) -> visits -> verdict and the visit in question -> the case
for each cause -> odds with priors, effects explained away by what came first -> ranked findings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from replay.budget import stop_budget
from replay.causes import BROUGHT_ABOUT, JUDGES, PRIORS
from replay.causes.case import Case
from replay.diagnosis import Cause, Diagnosis, Finding, Verdict, Visit
from replay.edges import edge_chart
from replay.facts import Facts
from replay.log import Log
from replay.track import Track, track_of
from replay.units import Role
from replay.visits import Visits, visits_of
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Overtravel limit without a lift file [mm].
LIMIT_MM = 15.0
#: Log odds of "none of these": a cause needs more than a hint to be named before it.
NONE_OF_THESE = 1.6
#: Odds from which a cause is plain enough to explain later links of its chain.
PLAIN_ENOUGH = 2.0
#: Odds from which an anomaly is reported although no visit went past the limit.
ANOMALY = 4.5
#: A lift that stood in time and was then wound out beyond this many limits has paid out slack.
PAID_OUT = 1.5
#: Findings with less than this are not listed.
LEAST_SCORE = 0.01
#: An earlier link may lie this much after a later one [s], since places in a log are one loop wide.
SAME_TIME_S = 0.3

#: Causes whose trace is in the drive or the sensor and not in one visit: found without an overrun too.
STANDING = (
    Cause.DRIVE_SIGN,
    Cause.SENSOR_POLARITY,
    Cause.ELECTRICAL_NOISE,
    Cause.AMBIENT_LIGHT,
    Cause.CABLE_BREAK,
    Cause.MOTORS_OPPOSED,
    Cause.STICKY_TRAVEL,
    Cause.COUNTER_RESET,
    Cause.COUNT_LOSS,
    Cause.DRIVE_SLIP,
    Cause.PRESSING_ON_STOP,
    Cause.CONTACT_CHATTER,
    Cause.REVERSE_WRAP,
    Cause.SUPPLY_DIP,
)


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
    findings = _findings(facts, cases, verdict)
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
        missing=_missing(log),
        notes=_notes(track, visits),
    )


def _bad_visit(visits: tuple[Visit, ...], limit: float) -> Visit | None:
    """The first visit past the limit by more than its edge is uncertain; failing that the first past it."""
    past = [each for each in visits if overran(each, limit)]
    plain = [
        each for each in past if max(each.overtravel, each.deepest / PAID_OUT) - each.edge_doubt > 1.05 * limit
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


def _missing(log: Log) -> tuple[str, ...]:
    wanted = (Role.COMMAND, Role.SENSOR, Role.BATTERY, Role.CURRENT, Role.STATE)
    return tuple(role.value for role in wanted if role not in log)


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


def _findings(facts: Facts, cases: Mapping[Cause, Case], verdict: Verdict) -> tuple[Finding, ...]:
    odds = {cause: case.odds + PRIORS.get(cause, 0.0) for cause, case in cases.items()}
    if facts.bad is None:
        odds = {cause: value for cause, value in odds.items() if cause in STANDING and value >= ANOMALY}
        if not odds:
            return (_cannot_tell(facts, 1.0),) if verdict is Verdict.CANNOT_TELL else ()
    explained, effects = _explained(facts, cases, odds)
    weight = {cause: math.exp(min(value, 50.0)) for cause, value in explained.items()}
    total = sum(weight.values()) + math.exp(NONE_OF_THESE)
    ranked = sorted(weight, key=lambda cause: -weight[cause])
    findings = [
        _finding(facts, cases[cause], weight[cause] / total, effects[cause])
        for cause in ranked
        if weight[cause] / total >= LEAST_SCORE
    ]
    rest = math.exp(NONE_OF_THESE) / total
    if not findings or rest > findings[0].score:
        return (_cannot_tell(facts, rest),)
    return _with_deciding_test(findings, cases)


def _explained(
    facts: Facts, cases: Mapping[Cause, Case], odds: Mapping[Cause, float]
) -> tuple[dict[Cause, float], dict[Cause, tuple[Cause, ...]]]:
    """Odds after effects have been explained away, and the effects of each cause.

    A later link of a chain leaves its own plain trace. Given that an earlier link is there with odds o,
    the later one needs no cause of its own: its odds are lowered by o.
    """
    time_s = facts.track.time_s
    explained = dict(odds)
    effects: dict[Cause, list[Cause]] = {cause: [] for cause in odds}
    for later, sources in BROUGHT_ABOUT.items():
        if later not in odds:
            continue
        start = float(time_s[cases[later].first])
        before = [
            each
            for each in sources
            if each in odds
            and odds[each] > PLAIN_ENOUGH
            and float(time_s[cases[each].first]) <= start + SAME_TIME_S
        ]
        if before:
            explained[later] -= max(odds[each] for each in before)
            if odds[later] > PLAIN_ENOUGH:
                for each in before:
                    effects[each].append(later)
    return explained, {cause: tuple(found) for cause, found in effects.items()}


def _finding(facts: Facts, case: Case, score: float, effects: tuple[Cause, ...]) -> Finding:
    contribution = case.contribution
    return Finding(
        cause=case.cause,
        score=score,
        t_s=float(facts.track.log.time_s[case.first]),
        rows=facts.track.rows(case.first, case.last),
        for_=tuple(case.for_),
        against=tuple(case.against),
        effects=effects,
        contribution_mm=contribution if facts.track.scaled and contribution is not None else None,
        next_test=case.test,
    )


def _cannot_tell(facts: Facts, score: float) -> Finding:
    missing = _missing(facts.track.log)
    at = 0 if facts.bad is None else facts.bad.at
    lacking = f"the log has no column for {', '.join(missing)}" if missing else "no cause leaves its trace"
    slow = facts.track.period_s > 0.05
    reasons = [lacking, *(["rows are too far apart to see a contact or a loop"] if slow else [])]
    columns = ", ".join(missing) if missing else "the raw sensor level and the state"
    return Finding(
        cause=Cause.CANNOT_TELL,
        score=min(1.0, score),
        t_s=float(facts.track.log.time_s[at]),
        rows=facts.track.rows(at, at if facts.bad is None else facts.bad.stand),
        for_=tuple(reasons),
        against=(),
        next_test=f"log {columns}, one row a loop",
    )


def _with_deciding_test(findings: list[Finding], cases: Mapping[Cause, Case]) -> tuple[Finding, ...]:
    """The first finding gets the test that would decide between it and the second, if that is close."""
    if len(findings) > 1 and findings[1].score > 0.1 * findings[0].score:
        two = cases[findings[1].cause].test
        test = f"{findings[0].next_test}; against {findings[1].cause.words}: {two}"
        findings[0] = replace(findings[0], next_test=test)
    return tuple(findings)
