"""All checks of a review, in the order in which their findings are told."""

from __future__ import annotations

from homing.review import ends, moving, zeroing
from homing.review.results import Finding, Severity
from homing.review.scene import Check, Numbers, Scene
from homing.routine import Table
from homing.structure import findings as structure_findings
from homing.structure.situations import TooManySituationsError
from sensor_models.errors import InputError

CHECKS: tuple[Check, ...] = (
    moving.made_is_not_asked,
    moving.made_is_answered_by_its_change_only,
    moving.stop_waits_for_agreement,
    moving.drives_on_when_made,
    moving.moves_unguarded,
    moving.blocked_both_ways,
    moving.comes_back_before_release,
    moving.ends_by_time_alone,
    moving.standing_is_judged_too_soon,
    moving.trouble_leads_to_a_fault,
    zeroing.zero_while_moving,
    zeroing.zero_asks_the_reading,
    zeroing.zero_in_every_loop,
    zeroing.zero_from_the_fast_approach,
    zeroing.edge_is_never_captured,
    zeroing.zeroed_without_zero,
    zeroing.zero_without_release,
    ends.ends_stand,
    ends.ends_need_a_person,
    ends.there_are_ends,
    ends.phases_without_a_way_out,
    ends.stuck_sensor_has_a_way_out,
    ends.phases_are_reached,
    ends.rows_live,
    ends.clocks_start_anew,
    ends.retries_are_forgotten,
    ends.old_zero_is_forgotten,
    ends.retries_end,
)


def sequence_findings(table: Table) -> tuple[Finding, ...]:
    """What the stricter rules of the built-in sequence find: meant for that table, whatever its settings."""
    return tuple(
        Finding(
            "departs from the built-in sequence",
            Severity.DOUBT,
            sentence.partition(":")[0],
            sentence.partition(": ")[2] or sentence,
            "look at the settings that this row or phase is made from",
        )
        for sentence in structure_findings(table)
    )


def findings(table: Table, numbers: Numbers, file: str = "") -> tuple[Finding, ...]:
    """Everything that the checks find, the gravest first.

    Raises
    ------
    InputError
        When a phase asks for more conditions than can be looked through.
    """
    try:
        scene = Scene(table, numbers)
    except TooManySituationsError as many:
        must = "must ask fewer conditions that do not depend on each other to be reviewed"
        raise InputError(must, file=file or None, key=f"phase {many.phase}", got=many.asked) from None
    found = [finding for check in CHECKS for finding in check(scene)]
    order = list(Severity)
    return tuple(sorted(found, key=lambda finding: order.index(finding.severity)))
