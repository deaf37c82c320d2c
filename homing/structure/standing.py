"""Checks on what may end a phase, and on phases that stand: the first look, after a stop, after an edge."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition
from homing.routine import Phase
from homing.structure.motion import past_the_sensor
from homing.structure.situations import Bools
from homing.structure.survey import Survey, retries

ALWAYS_GUARDED = {
    "a time limit": Condition.TIMER_OVER,
    "noticing that it moves": Condition.MOVED,
    "a count jump guard": Condition.JUMPED,
}


def standing_phases_are_guarded(survey: Survey) -> Iterator[str]:
    """Each standing phase is bounded in time, and notices that it moves and that counts jump."""
    for phase in survey.standing:
        for words, kind in ALWAYS_GUARDED.items():
            if not survey.faults_on(phase, kind):
                yield f"{phase.name}: stands without {words}"


def guards_come_first(survey: Survey) -> Iterator[str]:
    """What is wrong is answered before anything else."""
    for phase in (*survey.moving, *survey.standing):
        s = survey.situations(phase)
        yield from s.none_of(
            survey.upset(phase) & ~s.takes(survey.faults), "something is wrong and does not lead to a fault"
        )


def time_limit_comes_last(survey: Survey) -> Iterator[str]:
    """Standing, what was waited for counts once it is there, even if the time is just over."""
    for phase in survey.standing:
        rows = survey.table.rows_of(phase.name)
        for row in rows[:-1]:
            if survey.faults(row) and survey.kinds(row.when) == {Condition.TIMER_OVER}:
                yield f"{phase.name}: the time limit stands before the row to {rows[-1].to}"


def faults_have_a_cause(survey: Survey) -> Iterator[str]:
    """No situation that is in order leads to a fault."""
    for phase in survey.table.phases:
        s = survey.situations(phase)
        yield from s.none_of(s.takes(survey.faults) & ~_cause(survey, phase), "faults without a cause")


def _cause(survey: Survey, phase: Phase) -> Bools:
    """Where a fault is called for, (n,)."""
    s, cause = survey.situations(phase), survey.upset(phase)
    made = s.some(Condition.MADE, Condition.MADE_RUN)
    if phase in survey.approaches:
        cause = cause | (made & s.some(Condition.ABOVE)) | past_the_sensor(survey, phase)
    if phase in survey.edge_approaches:
        cause = cause | (s.some(Condition.MOVED) & ~made)
    if phase in survey.leaving:
        cause = cause | (s.some(Condition.MOVED_OUT) & ~s.some(Condition.CLEAR_BY))
    if phase in survey.standing:
        cause = cause | s.hardest(Condition.TIMER_OVER)
    if phase in survey.looks:
        cause = cause | (made & s.some(Condition.ABOVE) & s.some(Condition.TIMER_OVER))
    if phase in (*survey.after_stop, *survey.after_edge):
        used = s.some(Condition.STANDSTILL) & s.some(Condition.RETRIES_USED)
        cause = cause | (used & survey.trouble(phase))
    return cause


def phases_wait_for_their_sign(survey: Survey) -> Iterator[str]:
    """A phase goes on only when what it waits for is there."""
    for phase in survey.table.phases:
        s = survey.situations(phase)
        goes_on = ~s.stays & ~s.takes(survey.faults)
        yield from s.none_of(goes_on & ~_sign(survey, phase), "does not wait for its sign")


def _sign(survey: Survey, phase: Phase) -> Bools:
    """Where a phase may go on, (n,)."""
    c, s = Condition, survey.situations(phase)
    if phase == survey.start:
        return s.some(c.START)
    if phase in survey.looks:
        return s.some(c.TIMER_OVER) & s.some(c.MADE_RUN, c.CLEAR_RUN)
    if phase in survey.leaving:
        return s.some(c.CLEAR_BY)
    if phase in survey.searching:
        return s.some(c.MADE, c.MADE_RUN, c.MOVED_OUT, c.NOT_MOVING)
    if phase in survey.edge_approaches:
        return s.some(c.MADE)
    if phase in survey.approaches:
        return s.some(c.MADE, c.BELOW)
    return s.some(c.STANDSTILL)


def start_leads_to_a_look(survey: Survey) -> Iterator[str]:
    """A start request leads to a first look at the sensor, standing, whatever else holds."""
    s = survey.situations(survey.start)
    rightly = s.takes(survey.leads_to(survey.looks))
    yield from s.answered(s.some(Condition.START), rightly, "a start does not lead to a first look")


def start_on_the_sensor_is_left(survey: Survey) -> Iterator[str]:
    """At the first look made, and not impossibly high: the sensor is left."""
    for phase in survey.looks:
        s = survey.situations(phase)
        where = s.some(Condition.MADE_RUN) & ~s.some(Condition.ABOVE) & _looked(survey, phase)
        rightly = s.takes(survey.leads_to(survey.leaving))
        yield from s.answered(where, rightly, "a start on the sensor is not left")


def unknown_height_moves_out_first(survey: Survey) -> Iterator[str]:
    """At the first look not made and nothing referenced: the lift may be below the sensor, it moves out."""
    for phase in survey.looks:
        s = survey.situations(phase)
        where = s.some(Condition.CLEAR_RUN) & ~s.some(Condition.REFERENCED) & _looked(survey, phase)
        rightly = s.takes(survey.leads_to(survey.searching))
        yield from s.answered(where, rightly, "with its height unknown it does not move out first")


def known_height_comes_in(survey: Survey) -> Iterator[str]:
    """At the first look not made and referenced: it comes in."""
    for phase in survey.looks:
        s = survey.situations(phase)
        where = s.some(Condition.CLEAR_RUN) & s.some(Condition.REFERENCED) & _looked(survey, phase)
        rightly = s.takes(survey.leads_to(survey.approaches))
        yield from s.answered(where, rightly, "with its height known it does not come in")


def _looked(survey: Survey, look: Phase) -> Bools:
    """Where the first look was long enough and nothing is wrong, (n,)."""
    return survey.situations(look).some(Condition.TIMER_OVER) & ~survey.upset(look)


def sound_stops_go_on(survey: Survey) -> Iterator[str]:
    """Standing on the sensor with readings that agree and no trouble: it goes on, without a retry."""
    for phase in (*survey.after_stop, *survey.after_edge):
        s = survey.situations(phase)
        where = s.some(Condition.STANDSTILL) & s.some(Condition.MADE_RUN)
        rightly = ~(s.stays | s.takes(survey.faults) | s.takes(retries))
        if phase in survey.after_stop:
            rightly &= s.takes(survey.leads_to(survey.leaving))
        where &= ~survey.trouble(phase) & ~survey.upset(phase)
        yield from s.answered(where, rightly, "standing on the sensor is not answered")


def troubles_are_retried(survey: Survey) -> Iterator[str]:
    """A lost reading, an untrusted edge and edges apart lead to a retry; once these are used, to a fault."""
    for phase in (*survey.after_stop, *survey.after_edge):
        s = survey.situations(phase)
        used, stands = s.some(Condition.RETRIES_USED), s.some(Condition.STANDSTILL) & ~survey.upset(phase)
        rightly = (s.takes(survey.faults) & used) | (s.takes(retries) & ~used)
        lost = stands & s.some(Condition.CLEAR_RUN)
        yield from s.answered(lost, rightly, "a reading lost at standstill is not answered rightly")
        if phase in survey.after_edge:
            late = stands & s.some(Condition.EDGE_LONG_LOOP)
            yield from s.answered(late, rightly, "an edge that is not trusted is not answered rightly")
        apart = stands & survey.trouble(phase) & ~lost
        yield from s.none_of(apart & ~rightly, "trouble is not answered rightly")
