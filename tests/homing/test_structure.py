"""Structural checks: the built-in table passes them all, and each catches the table made to break it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from routines import TABLE, bent, demoted, find, find_asking, preceded, routine, without

from homing.kernel.codes import Condition, Effect, Order, Reason
from homing.routine import Ask, Command, Phase, Role, Row, Table
from homing.structure import CHECKS, findings
from homing.structure.situations import situations
from homing.structure.survey import Survey

ONCE = routine(recheck=False)
#: A row of ``settling`` that takes a sound edge when referenced, before the built-in one does.
SOUND = {
    "source": "settling",
    "when": ("standstill", "readings_agree", "referenced"),
    "unless": ("edge_not_trusted",),
}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"recheck": False},
        {"stall_sensor": True},
        {"stall_sensor": True, "recheck": False},
        {"agree_readings": 1},
        {"retries": 0},
        {"creep_m_s": 0.18},
        {"stop": Order.OPEN, "when_off": Order.OPEN},
        {"back_off_m": 0.15},
        {"settle_s": 1.5},
    ],
)
def test_built_in_table_gives_no_finding(changes: dict[str, Any]) -> None:
    assert findings(routine(**changes)) == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"slow_zone_m": 0.0}, "easing_in: never taken"),
        ({"first_lift_m": 0.8}, "lifting -> coming_in: never taken"),
        ({"leave_limit_m": 0.8}, "never taken, earlier rows answer first (stuck on"),
        ({"no_motion_s": 9.0}, "never taken"),
        ({"creep_m_s": 0.2}, "no slow approach has just captured"),
    ],
)
def test_settings_that_undo_a_row_are_found(changes: dict[str, float], words: str) -> None:
    assert any(words in sentence for sentence in findings(routine(**changes)))


def _with_phases(table: Table, *phases: Phase) -> Table:
    return replace(table, phases=(*table.phases, *phases))


def _second_start() -> Table:
    table = _with_phases(ONCE, Phase("idle", Role.START, Command(Order.HOLD), ""))
    return preceded(table, find(table, "settling", "zeroed"), Row(**SOUND, to="idle"))


def _zero_that_moves() -> Table:
    phases = (
        replace(p, command=Command(Order.SPEED, 0.01)) if p.name == "zeroed" else p for p in TABLE.phases
    )
    return replace(TABLE, phases=tuple(phases))


def _margin_forgotten() -> Table:
    """Left with the margin, ``backing_off`` goes on moving out."""
    table = bent(TABLE, find_asking(TABLE, "backing_off", "clear_by_margin"), unless=("start_requested",))
    return bent(table, find_asking(table, "backing_off", "left_too_far"), unless=("clear_by_margin",))


def _made_forgotten() -> Table:
    """Made, ``coming_in`` goes on moving in."""
    table = bent(TABLE, find(TABLE, "coming_in", "stopping"), unless=("start_requested",))
    for name in ("below_sensor", "in_slow_zone"):
        table = bent(table, find_asking(table, "coming_in", name), unless=("made",))
    return table


def _lost_reading_forgotten() -> Table:
    """A reading lost at standstill is answered only while nothing is referenced."""
    table = TABLE
    for row in TABLE.rows_of("settling"):
        if "readings_agree_not_made" in row.when:
            table = bent(table, row, unless=(*row.unless, "referenced"))
    return table


def _dropped(row: Row, name: str) -> Table:
    """The table with one row that lost a condition."""
    when, unless = ([each for each in names if each != name] for names in (row.when, row.unless))
    return bent(TABLE, row, when=tuple(when), unless=tuple(unless))


def _deaf(source: str, name: str) -> Table:
    """The first row of a phase that asks for a condition is hardly ever taken."""
    return bent(TABLE, find_asking(TABLE, source, name), unless=("start_requested",))


def _gone(source: str, name: str) -> Table:
    return without(TABLE, find_asking(TABLE, source, name))


#: For each check a table that breaks its rule and no other.
BROKEN: dict[str, Callable[[], Table]] = {
    "roles_are_filled": _second_start,
    "roles_match_commands": _zero_that_moves,
    "ends_absorb": lambda: TABLE.with_rows(
        (*TABLE.rows, Row("zeroed", ("counts_jumped",), (), "faulted", (), Reason.COUNTS_JUMPED))
    ),
    "guards_fault": lambda: bent(TABLE, find_asking(TABLE, "creeping", "wrong_way"), reason=Reason.NONE),
    "rows_are_alive": lambda: TABLE.with_rows((*TABLE.rows, find_asking(TABLE, "creeping", "wrong_way"))),
    "phases_are_reached": lambda: _with_phases(TABLE, Phase("spare", Role.FAULTED, Command(Order.OPEN), "")),
    "only_retries_go_back": lambda: preceded(
        ONCE, find(ONCE, "settling", "zeroed"), Row(**SOUND, to="backing_off")
    ),
    "edges_are_captured_on_the_way_in": lambda: bent(
        TABLE, find(TABLE, "lifting", "backing_off"), effects=(Effect.CAPTURE_EDGE,)
    ),
    "moving_phases_are_guarded": lambda: _gone("backing_off", "time_over"),
    "standing_counts_are_noticed": lambda: _gone("easing_in", "not_moving"),
    "first_made_reading_stops": _made_forgotten,
    "slow_approach_follows_release": lambda: preceded(
        TABLE, find(TABLE, "settling", "leaving_again"), Row(**SOUND, to="creeping_again")
    ),
    "leaving_comes_back_slowly": _margin_forgotten,
    "stuck_sensor_is_noticed": lambda: _gone("leaving_again", "left_too_far"),
    "search_finds_the_sensor": lambda: _gone("lifting", "readings_agree"),
    "search_turns_back": lambda: _gone("lifting", "not_moving"),
    "made_too_high_is_noticed": lambda: _gone("easing_in", "above_trip_zone"),
    "passing_the_sensor_is_noticed": lambda: _gone("easing_in", "below_sensor"),
    "lost_edge_is_noticed": lambda: _gone("creeping", "crept_too_far"),
    "fast_approach_slows_down": lambda: _deaf("coming_in", "in_slow_zone"),
    "standing_phases_are_guarded": lambda: _gone("stopping", "counts_jumped"),
    "guards_come_first": lambda: demoted(TABLE, find_asking(TABLE, "coming_in", "past_travel_guard")),
    "time_limit_comes_last": lambda: demoted(
        TABLE, find_asking(TABLE, "settling", "readings_agree_not_made")
    ),
    "faults_have_a_cause": lambda: _dropped(find_asking(TABLE, "easing_in", "above_trip_zone"), "made"),
    "phases_wait_for_their_sign": lambda: _dropped(find(TABLE, "stopping", "backing_off"), "standstill"),
    "start_leads_to_a_look": lambda: preceded(
        TABLE, TABLE.rows[0], Row("waiting", ("start_requested", "referenced"), (), "lifting")
    ),
    "start_on_the_sensor_is_left": lambda: bent(
        TABLE, find(TABLE, "checking", "backing_off"), unless=("start_requested",)
    ),
    "unknown_height_moves_out_first": lambda: bent(
        TABLE, find(TABLE, "checking", "lifting"), unless=("start_requested",)
    ),
    "known_height_comes_in": lambda: bent(TABLE, find_asking(TABLE, "checking", "referenced"), to="lifting"),
    "sound_stops_go_on": lambda: _deaf("stopping", "readings_agree"),
    "troubles_are_retried": _lost_reading_forgotten,
    "zero_is_set_at_the_end": lambda: bent(TABLE, find(TABLE, "settling_again", "zeroed"), effects=()),
    "edges_are_used_when_sound": lambda: _dropped(
        find(TABLE, "settling_again", "zeroed"), "edge_not_trusted"
    ),
    "judged_edges_are_fresh": lambda: preceded(
        TABLE, find(TABLE, "creeping", "settling"), Row("creeping", ("made", "referenced"), (), "settling")
    ),
    "kept_edges_are_compared": lambda: bent(TABLE, find(TABLE, "settling", "leaving_again"), effects=()),
    "retries_are_spelled_out": lambda: _dropped(find(TABLE, "settling", "backing_off"), "retries_used"),
    "retries_repeat_what_failed": lambda: bent(
        TABLE, find(TABLE, "settling_again", "leaving_again"), to="backing_off"
    ),
}


@pytest.mark.parametrize("name", [check.__name__ for check in CHECKS])
def test_each_check_catches_the_table_made_to_break_it_alone(name: str) -> None:
    survey = Survey(BROKEN[name]())
    assert [check.__name__ for check in CHECKS if list(check(survey))] == [name]


def test_no_example_without_its_check() -> None:
    assert set(BROKEN) == {check.__name__ for check in CHECKS}


def test_a_finding_names_phase_and_situation() -> None:
    (sentence,) = findings(_dropped(find(TABLE, "stopping", "backing_off"), "standstill"))
    assert sentence == "stopping: does not wait for its sign (when readings_agree)"


def test_checks_do_not_hang_on_names() -> None:
    def renamed(name: str) -> str:
        return f"phase {name}"

    table = replace(
        TABLE,
        phases=tuple(replace(phase, name=renamed(phase.name)) for phase in TABLE.phases),
        rows=tuple(replace(row, source=renamed(row.source), to=renamed(row.to)) for row in TABLE.rows),
    )
    assert findings(table) == ()
    assert findings(table.with_rows(table.rows[1:]))


def test_situations_leave_out_what_cannot_be() -> None:
    s = situations(TABLE, TABLE.phase("easing_in"))
    both = s.some(Condition.ABOVE) & s.some(Condition.BELOW)
    assert not both.any()
    assert not (s.some(Condition.ABOVE) & s.some(Condition.MADE) & s.stays).any()
    assert len(s.taken) < 2 ** len(s.asks)


def test_too_many_conditions_in_a_phase_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    asks = tuple(Ask(f"c{n}", Condition.TIMER_OVER, float(n)) for n in range(17))
    # of 17 limits of one timer the first few are over, from none to all
    monkeypatch.setattr("homing.structure.situations.MOST_SITUATIONS", 17)
    phases = (Phase("waiting", Role.START, Command(Order.HOLD), ""),)
    table = Table(phases, asks, (Row("waiting", tuple(ask.name for ask in asks), (), "waiting"),))
    with pytest.raises(ValueError, match="phase 'waiting' asks 17 conditions, too many"):
        findings(table)
