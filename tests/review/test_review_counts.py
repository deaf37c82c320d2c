"""Faults of counts and drive in the exploration: what they do, what is asked then, what is found."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_routines import setting_of, sound

from homing.kernel.codes import Condition
from homing.liftfile import load_lift
from homing.review.cells import abstract
from homing.review.explore import explore
from homing.review.invariants import Invariant, applies
from homing.review.knowledge import ANYWHERE, Knowledge, Seen
from homing.review.physics import STILL, Broken, Physics
from homing.review.search import Walk
from homing.routine import Ask, Table
from homing.setting import Setting, prepare

COUNTS = (Broken.COUNTS_JUMP, Broken.COUNTS_LOST)


@pytest.fixture(scope="module")
def setting() -> Setting:
    return prepare(load_lift(None))


def knowledge(setting: Setting, broken: Broken) -> Knowledge:
    return Knowledge(setting.table, abstract(setting), 2, 2, broken=broken)


def seen(setting: Setting, *, cell: int, entry: int, jumped: bool = False) -> Seen:
    phase = setting.table.phase_index("coming_in")
    return Seen(phase, cell, False, False, False, -1, False, entry, entry, 1, False, 0, False, jumped)


def test_a_reversed_drive_goes_out_when_told_in(setting: Setting) -> None:
    lift = abstract(setting)
    physics = Physics(lift, (0.06,), Broken.REVERSED)
    for told, cells in ((-1, range(lift.stop, lift.top)), (1, range(1, lift.top))):
        for cell in cells:
            moved = physics.moves(cell, STILL, told, 0, False)
            assert all((after.cell - cell) * told <= 0 for after in moved)
            assert any(after.motion[0] == -told or after.cell != cell for after in moved)


def test_a_travel_guard_is_never_sure_of_lost_counts(setting: Setting) -> None:
    lift = abstract(setting)
    ask = Ask("moved", Condition.MOVED, 0.1)
    far = seen(setting, cell=0, entry=lift.top)
    assert knowledge(setting, Broken.NOTHING).holds(ask, far) is True
    assert knowledge(setting, Broken.COUNTS_LOST).holds(ask, far) is None


def test_a_jump_is_seen_in_its_loop_and_spoils_where_the_phase_began(setting: Setting) -> None:
    lift, told = abstract(setting), knowledge(setting, Broken.COUNTS_JUMP)
    jump = Ask("jumped", Condition.JUMPED, 100.0)
    assert told.holds(jump, seen(setting, cell=lift.top, entry=lift.top, jumped=True)) is True
    assert told.holds(jump, seen(setting, cell=lift.top, entry=lift.top)) is False
    moved = Ask("moved", Condition.MOVED, 0.1)
    assert told.holds(moved, seen(setting, cell=lift.top, entry=lift.top - 1)) is not True
    assert told.holds(moved, seen(setting, cell=lift.top, entry=ANYWHERE)) is None


def test_only_what_counts_and_direction_allow_is_asked() -> None:
    assert not applies(Invariant.MADE, Broken.REVERSED)
    assert not any(applies(Invariant.GUARD, broken) for broken in COUNTS)
    for broken in (*COUNTS, Broken.REVERSED):
        asked = {invariant for invariant in Invariant if applies(invariant, broken)}
        assert {Invariant.FAULTED, Invariant.STANDING, Invariant.HAS_ZERO, Invariant.ENDS} <= asked


def sent(table: Table, source: str, when: tuple[str, ...], to: str) -> Table:
    number = next(n for n, row in enumerate(table.rows) if (row.source, row.when) == (source, when))
    rows = list(table.rows)
    rows[number] = replace(rows[number], to=to)
    return table.with_rows(rows)


def test_a_jump_that_is_answered_wrongly_is_found(setting: Setting) -> None:
    wrong = sent(setting.table, "coming_in", ("counts_jumped",), "zeroed")
    found = {each.invariant: each for each in explore(setting.with_table(wrong), cases=False).violations}
    told = found[Invariant.HAS_ZERO.value]
    assert told.fault == Broken.COUNTS_JUMP.value
    assert any("now the counts jump" in line for line in told.story)


def test_a_reversed_drive_that_is_answered_wrongly_is_found(setting: Setting) -> None:
    wrong = sent(setting.table, "coming_in", ("wrong_way",), "zeroed")
    found = {each.invariant: each for each in explore(setting.with_table(wrong), cases=False).violations}
    told = found[Invariant.HAS_ZERO.value]
    assert Broken.REVERSED.value in (told.fault, *told.also)


def test_a_phase_that_only_distance_ends_may_never_end_once_counts_are_lost() -> None:
    """With every count lost on the way the travel guard of the small table is never sure; time is."""
    setting = setting_of(sound())
    lift = abstract(setting)
    rows = [row for row in setting.table.rows if row.when != ("in_phase_12_s",)]
    for table, ends in ((setting.table, True), (setting.table.with_rows(rows), False)):
        walk = Walk(table, lift, Broken.COUNTS_LOST, 100_000)
        walk.go()
        assert walk.complete
        assert (not walk.lasting) is ends
