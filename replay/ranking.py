"""From the cases of all causes to ranked findings: priors, effects explained away, shares of one."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from replay.causes import BROUGHT_ABOUT, PRIORS
from replay.causes.case import Case
from replay.diagnosis import Cause, Finding, Verdict
from replay.facts import Facts

#: Log odds of "none of these": a cause needs more than a hint to be named before it.
NONE_OF_THESE = 1.0


#: Odds from which a cause is plain enough to explain later links of its chain.
PLAIN_ENOUGH = 2.0


#: Odds from which an anomaly is reported although no visit went past the limit.
ANOMALY = 4.5


#: Findings with less than this are not listed.
LEAST_SCORE = 0.01


#: An earlier link may lie this much after a later one [s], since places in a log are one loop wide.
SAME_TIME_S = 0.3


#: Causes of which only the visits between which they acted are known: they may have acted late among them.
SPREAD = frozenset(
    {
        Cause.DRIVE_SLIP,
        Cause.COUNT_LOSS,
        Cause.STRING_STRETCH,
        Cause.OVERLAPPED_WRAPS,
        Cause.SWITCH_DAMAGE,
    }
)


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


def ranked_findings(facts: Facts, cases: Mapping[Cause, Case], verdict: Verdict) -> tuple[Finding, ...]:
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
        case = cases[later]
        acted = case.first
        if later in SPREAD:
            acted = len(time_s) - 1 if facts.bad is None else max(case.last, facts.bad.at)
        start = float(time_s[acted])
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
    missing = facts.missing
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
