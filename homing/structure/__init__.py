"""Checks on a routine's table that need no simulation: what every sound routine must have.

Each check holds one rule and yields one sentence a violation; the built-in table yields none. Checks speak
of what phases are for (``survey``) and hold over every situation that a phase can meet (``situations``),
so they judge any table, whatever its phases are called.

======================  ============================================================================
``form``                roles, ends, reasons; rows and phases that live; the routine ends
``motion``              guards of moving phases, the first made reading, leaving, plausibility
``standing``            what may end a phase; the first look; after a stop and after an edge
``edge``                zero only from a sound, fresh edge; comparison; retries
======================  ============================================================================
"""

from __future__ import annotations

from homing.routine import Table
from homing.structure import edge, form, motion, standing
from homing.structure.survey import Check, Survey

CHECKS: tuple[Check, ...] = (
    form.roles_are_filled,
    form.roles_match_commands,
    form.ends_absorb,
    form.guards_fault,
    form.rows_are_alive,
    form.phases_are_reached,
    form.only_retries_go_back,
    form.edges_are_captured_on_the_way_in,
    motion.moving_phases_are_guarded,
    motion.standing_counts_are_noticed,
    motion.first_made_reading_stops,
    motion.slow_approach_follows_release,
    motion.leaving_comes_back_slowly,
    motion.stuck_sensor_is_noticed,
    motion.search_finds_the_sensor,
    motion.search_turns_back,
    motion.made_too_high_is_noticed,
    motion.passing_the_sensor_is_noticed,
    motion.lost_edge_is_noticed,
    motion.fast_approach_slows_down,
    standing.standing_phases_are_guarded,
    standing.guards_come_first,
    standing.time_limit_comes_last,
    standing.faults_have_a_cause,
    standing.phases_wait_for_their_sign,
    standing.start_leads_to_a_look,
    standing.start_on_the_sensor_is_left,
    standing.unknown_height_moves_out_first,
    standing.known_height_comes_in,
    standing.sound_stops_go_on,
    standing.troubles_are_retried,
    edge.zero_is_set_at_the_end,
    edge.edges_are_used_when_sound,
    edge.judged_edges_are_fresh,
    edge.kept_edges_are_compared,
    edge.retries_are_spelled_out,
    edge.retries_repeat_what_failed,
)


def findings(table: Table) -> tuple[str, ...]:
    """Everything that the structural checks find wrong with a table; empty for a sound one.

    Raises
    ------
    ValueError
        When a phase asks for more conditions than can be looked through.
    """
    survey = Survey(table)
    return tuple(sentence for check in CHECKS for sentence in check(survey))
