"""Checks on edges, zero and retries: what is captured, kept, compared, used, and found again."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition, Effect
from homing.routine import Role, Row
from homing.structure.survey import Survey, arrow, captures, retries


def zero_is_set_at_the_end(survey: Survey) -> Iterator[str]:
    """Zero is set by the rows that lead to the end zeroed, by all of them, and after an edge was judged."""
    for row in survey.table.rows:
        sets = Effect.SET_ZERO in row.effects
        if sets != (survey.table.phase(row.to).role is Role.ZEROED):
            yield f"{arrow(row)}: zeroed and setting zero do not go together"
        if sets and survey.table.phase(row.source) not in survey.after_edge:
            yield f"{arrow(row)}: zero without an edge that was judged at standstill"


def edges_are_used_when_sound(survey: Survey) -> Iterator[str]:
    """A row that uses the edge asks itself for standstill, agreeing readings and an edge that is trusted."""
    for row in survey.table.rows:
        if Effect.SET_ZERO in row.effects or Effect.KEEP_EDGE in row.effects:
            if not {Condition.STANDSTILL, Condition.MADE_RUN} <= survey.kinds(row.when):
                yield f"{arrow(row)}: uses the edge without standstill and agreeing readings"
            if Condition.EDGE_LONG_LOOP not in survey.kinds(row.unless):
                yield f"{arrow(row)}: uses an edge that may have been read across an overlong loop"


def judged_edges_are_fresh(survey: Survey) -> Iterator[str]:
    """Where an edge is judged, every way in is a slow approach that has just captured it."""
    if not survey.after_edge:
        yield "no edge is ever captured"
    for phase in survey.after_edge:
        for row in survey.table.rows:
            if row.to == phase.name and not (captures(row) and row.source in survey.slow):
                yield f"{arrow(row)}: an edge is judged that no slow approach has just captured"


def kept_edges_are_compared(survey: Survey) -> Iterator[str]:
    """Where two edges are compared, the way there keeps the first; where one is kept, zero compares them."""
    keeping = any(Effect.KEEP_EDGE in row.effects for row in survey.table.rows)
    for row in survey.table.rows:
        if keeping and Effect.SET_ZERO in row.effects and not _compares(survey, row):
            yield f"{arrow(row)}: two edges were found and are not compared"
        compared_in = _compared_in(survey, row.to)
        keeps = Effect.KEEP_EDGE in row.effects
        if keeps and not compared_in:
            yield f"{arrow(row)}: keeps an edge that is not compared"
        # a retry of the comparison keeps the newest edge if it was a sound one
        sound = row.source not in compared_in or Condition.MADE_RUN in survey.kinds(row.when)
        if compared_in and sound and not keeps:
            yield f"{arrow(row)}: two edges will be compared, and the first is not kept"


def _compares(survey: Survey, row: Row) -> bool:
    return Condition.EDGES_AGREE in survey.kinds(row.when)


def _compared_in(survey: Survey, leaving: str) -> set[str]:
    """Where the edge found after this phase is compared with a kept one."""
    return {
        name
        for name in survey.judged_in(leaving)
        if any(_compares(survey, row) for row in survey.table.rows_of(name))
    }


def retries_are_spelled_out(survey: Survey) -> Iterator[str]:
    """A retry names standstill, its trouble and that retries are left; its twin answers when they are not."""
    for row in survey.table.rows:
        used = Condition.RETRIES_USED in survey.kinds(row.when)
        if retries(row):
            if Condition.RETRIES_USED not in survey.kinds(row.unless):
                yield f"{arrow(row)}: retries without end"
            if Condition.STANDSTILL not in survey.kinds(row.when) or not _names_trouble(survey, row):
                yield f"{arrow(row)}: a retry that does not say what for"
        if (retries(row) or used) and not any(_twins(survey, row, other) for other in survey.table.rows):
            answer = "retries left" if used else "retries used up"
            yield f"{arrow(row)}: the same with {answer} is not answered ({row.why})"


def _names_trouble(survey: Survey, row: Row) -> bool:
    asked = survey.kinds(row.when)
    lost = bool({Condition.EDGE_LONG_LOOP, Condition.CLEAR_RUN} & asked)
    return lost or (Condition.MADE_RUN in asked and Condition.EDGES_AGREE in survey.kinds(row.unless))


def _twins(survey: Survey, row: Row, other: Row) -> bool:
    """The same situation, in one row with retries left and in the other without."""

    def but_retries(names: tuple[str, ...]) -> set[str]:
        return {name for name in names if survey.table.condition(name).kind != Condition.RETRIES_USED}

    return (
        row.source == other.source
        and but_retries(row.when) == but_retries(other.when)
        and but_retries(row.unless) == but_retries(other.unless)
        and retries(row) != retries(other)
        and (survey.faults(row) or survey.faults(other))
    )


def retries_repeat_what_failed(survey: Survey) -> Iterator[str]:
    """A retry goes back by the way that failed: to the approach of this edge, or to a new search."""
    after_stop, searches = {phase.name for phase in survey.after_stop}, survey.leads_to(survey.searching)
    for row in filter(retries, survey.table.rows):
        repeats = searches(row) if row.source in after_stop else row.source in survey.judged_in(row.to)
        if not repeats:
            yield f"{arrow(row)}: a retry that does not repeat what failed"
