"""Checks on phases that move: guards, the first made reading, leaving the sensor, plausibility."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition
from homing.routine import Phase
from homing.structure.situations import Bools
from homing.structure.survey import Survey, arrow

ALWAYS_GUARDED = {
    "a time-out": Condition.TIMER_OVER,
    "a travel guard": Condition.MOVED,
    "a count jump guard": Condition.JUMPED,
    "a wrong way guard": Condition.WRONG_WAY,
}


def moving_phases_are_guarded(survey: Survey) -> Iterator[str]:
    """Each moving phase is bounded in time and travel, and notices jumping counts and the wrong way."""
    for phase in survey.moving:
        for words, kind in ALWAYS_GUARDED.items():
            if not survey.faults_on(phase, kind):
                yield f"{phase.name}: moves without {words}"


def standing_counts_are_noticed(survey: Survey) -> Iterator[str]:
    """Told to move and not moving is noticed, unless it is the very sign that is sought."""
    for phase in survey.moving:
        sought = survey.table.told_by_standing and phase.command.way < 0
        if sought and survey.asks(phase, Condition.NOT_MOVING):
            yield f"{phase.name}: standing counts tell the end here, and must not be asked for otherwise"
        needs = not sought and phase not in survey.searching
        if needs and not survey.faults_on(phase, Condition.NOT_MOVING):
            yield f"{phase.name}: moves without noticing that it does not"


def first_made_reading_stops(survey: Survey) -> Iterator[str]:
    """Moving in, a single made reading leads to standing, whatever else holds."""
    for phases, stands in (
        (survey.approaches, survey.after_stop),
        (survey.edge_approaches, survey.after_edge),
    ):
        for phase in phases:
            s = survey.situations(phase)
            rightly = s.takes(survey.leads_to(stands)) | s.takes(survey.faults)
            yield from s.answered(s.some(Condition.MADE), rightly, "does not stop on the first made reading")


def slow_approach_follows_release(survey: Survey) -> Iterator[str]:
    """A slow approach begins only after the sensor has let go."""
    for row in filter(survey.leads_to(survey.edge_approaches), survey.table.rows):
        left = survey.table.phase(row.source) in survey.leaving
        if not left or Condition.CLEAR_BY not in survey.kinds(row.when):
            yield f"{arrow(row)}: slow approach without the sensor ever released"


def leaving_comes_back_slowly(survey: Survey) -> Iterator[str]:
    """Once the sensor has let go with the margin, the slow approach begins."""
    for phase in survey.leaving:
        s = survey.situations(phase)
        where = s.some(Condition.CLEAR_BY) & ~survey.upset(phase)
        rightly = s.takes(survey.leads_to(survey.edge_approaches))
        yield from s.answered(where, rightly, "has left the sensor and does not come back slowly")


def stuck_sensor_is_noticed(survey: Survey) -> Iterator[str]:
    """A sensor that stays made though it is left is noticed well before the travel guard."""
    for phase in survey.leaving:
        s = survey.situations(phase)
        where = s.some(Condition.MOVED_OUT) & ~s.some(Condition.CLEAR_BY)
        yield from s.answered(where, s.takes(survey.faults), "a sensor that stays made is not noticed")


def search_finds_the_sensor(survey: Survey) -> Iterator[str]:
    """Searching outwards, a sensor found is left at once."""
    for phase in survey.searching:
        s = survey.situations(phase)
        where = s.some(Condition.MADE, Condition.MADE_RUN) & ~survey.upset(phase)
        rightly = s.takes(survey.leads_to(survey.leaving))
        yield from s.answered(where, rightly, "does not leave the sensor that it finds")


def search_turns_back(survey: Survey) -> Iterator[str]:
    """Searching outwards ends in an approach, far enough out or at the upper stop."""
    for phase in survey.searching:
        s = survey.situations(phase)
        off = ~s.some(Condition.MADE, Condition.MADE_RUN) & ~survey.upset(phase)
        rightly = s.takes(survey.leads_to(survey.approaches))
        yield from s.answered(off & s.some(Condition.MOVED_OUT), rightly, "does not turn back far enough out")
        yield from s.answered(
            off & s.some(Condition.NOT_MOVING), rightly, "does not turn back at the upper stop"
        )


def made_too_high_is_noticed(survey: Survey) -> Iterator[str]:
    """Made far above the trip zone is a fault, at the first look and on the approach."""
    for phase in (*survey.looks, *survey.approaches):
        s = survey.situations(phase)
        where = s.some(Condition.MADE, Condition.MADE_RUN) & s.some(Condition.ABOVE)
        if phase in survey.looks:
            where &= s.some(Condition.TIMER_OVER)
        yield from s.answered(where, s.takes(survey.faults), "made far above the trip zone is not noticed")


def passing_the_sensor_is_noticed(survey: Survey) -> Iterator[str]:
    """On the approach, far below the trip zone and never made is a fault."""
    for phase in survey.approaches:
        s, where = survey.situations(phase), past_the_sensor(survey, phase)
        yield from s.answered(where, s.takes(survey.faults), "below the sensor and never made is not noticed")


def lost_edge_is_noticed(survey: Survey) -> Iterator[str]:
    """A slow approach that does not find the edge again is noticed well before the travel guard."""
    for phase in survey.edge_approaches:
        s = survey.situations(phase)
        where = s.some(Condition.MOVED) & ~s.hardest(Condition.MOVED) & ~s.some(Condition.MADE)
        yield from s.answered(where, s.takes(survey.faults), "an edge that is not found again is not noticed")


def fast_approach_slows_down(survey: Survey) -> Iterator[str]:
    """Once the height is known, the fast approach ends in a slow one."""
    slower = tuple(phase for phase in survey.approaches if phase.name in survey.slow)
    for phase in survey.approaches:
        if phase not in slower:
            s = survey.situations(phase)
            near = s.some(Condition.BELOW) & ~past_the_sensor(survey, phase) & ~s.some(Condition.MADE)
            rightly = s.takes(survey.leads_to(slower))
            yield from s.answered(
                near & ~survey.upset(phase), rightly, "comes in fast all the way though the height is known"
            )


def past_the_sensor(survey: Survey, phase: Phase) -> Bools:
    """Where the sensor ought to have been made by now and is not, (n,)."""
    s = survey.situations(phase)
    return s.hardest(Condition.BELOW) & ~s.some(Condition.MADE)
