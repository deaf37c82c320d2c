"""The exploration: complete and clean for the built-in table, honest when cut short, quick for a long
table.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from flawed import flawed
from small_routines import given_with, setting_of, sound

from homing.assembly import assemble
from homing.liftfile import load_lift
from homing.report.review_text import explored
from homing.review import review_setting
from homing.review.cells import abstract
from homing.review.explore import explore
from homing.review.invariants import SOUND_LIFT_ONLY, Invariant, applies
from homing.review.physics import STILL, Broken, Physics
from homing.review.search import Walk
from homing.routine import Phase, Role, Row, Table
from homing.setting import Setting, prepare

EXAMPLES = sorted((Path(__file__).parents[2] / "examples" / "shelving_robot").glob("*.toml"))


@pytest.mark.parametrize(
    "file", [None, *EXAMPLES], ids=lambda file: "built-in" if file is None else file.stem
)
def test_the_built_in_table_breaks_no_invariant(file: Path | None) -> None:
    explored_all = explore(prepare(load_lift(file)))
    assert explored_all.violations == ()
    assert explored_all.complete
    assert set(explored_all.states_by_fault) == {broken.value for broken in Broken}
    assert sum(explored_all.states_by_fault.values()) == explored_all.states > 5000


def test_every_phase_of_the_built_in_table_is_met() -> None:
    setting = prepare(load_lift(None))
    walk = Walk(setting.table, abstract(setting), Broken.NOTHING, 100_000)
    walk.go()
    met = {setting.table.phases[state.phase].name for state in walk.found()}
    # easing in needs a height from before, which a start may have
    assert met == {phase.name for phase in setting.table.phases}


def test_cut_short_it_says_so_and_proves_nothing() -> None:
    short = explore(prepare(load_lift(None)), most_states=100)
    assert not short.complete
    assert "nothing is proved" in explored(short)
    assert "Complete" not in explored(short)


def test_only_what_a_table_can_keep_is_asked_of_a_broken_lift() -> None:
    assert all(applies(invariant, Broken.NOTHING) for invariant in Invariant)
    assert not any(applies(invariant, Broken.STUCK_OFF) for invariant in SOUND_LIFT_ONLY)


def test_zones_cover_every_height_once() -> None:
    lift = abstract(prepare(load_lift(None)))
    heights = [cell.low_m for cell in lift.cells]
    assert heights == sorted(heights)
    assert all(a.high_m == b.low_m for a, b in zip(lift.cells, lift.cells[1:], strict=False))
    assert lift.cells[lift.top].low_m == 0.64
    seen = [cell.sees for cell in lift.cells]
    assert seen == sorted(seen, key=lambda sees: {1: 0, -1: 1, 0: 2}[sees])


def test_it_stops_within_its_stopping_distance() -> None:
    """From the fast approach, stopping at the first made reading, the healthy lift never meets the stop."""
    setting = prepare(load_lift(None))
    walk = Walk(setting.table, abstract(setting), Broken.NOTHING, 100_000)
    walk.go()
    stopping = setting.table.phase_index("stopping")
    assert min(state.cell for state in walk.found() if state.phase == stopping) > walk.lift.stop


def test_a_belt_is_stopped_by_the_stop_and_a_string_is_not() -> None:
    lift = abstract(prepare(load_lift(None)))
    for blocked, deepest in ((False, 0), (True, lift.stop)):
        physics = Physics(replace(lift, blocked_in=blocked), (0.06,), Broken.NOTHING)
        cells = {lift.stop}
        for _ in range(len(lift.cells)):
            cells |= {
                moved.cell
                for cell in cells
                for motion in (STILL, (-1, 0, 2))
                for moved in physics.moves(cell, motion, -1, 0, False)
            }
        assert min(cells) == deepest


def long_setting(phases: int) -> Setting:
    """The built-in table with its second look repeated until it has so many phases."""
    setting = prepare(load_lift(None))
    table = setting.table
    names = ("leaving_again", "creeping_again", "settling_again")
    extra: list[Phase] = []
    rows = list(table.rows)
    number = 0
    while len(table.phases) + len(extra) < phases:
        number += 1
        renamed = {name: f"{name}_{number}" for name in names}
        extra += [replace(table.phase(name), name=renamed[name]) for name in names]
        entry = names[0] if number == 1 else f"{names[0]}_{number - 1}"
        rows = [_sent(row, entry, renamed[names[0]]) for row in rows]
        for row in table.rows:
            if row.source in renamed:
                to = renamed.get(row.to, row.to)
                rows.append(replace(row, source=renamed[row.source], to=entry if to == "zeroed" else to))
    return setting.with_table(Table((*table.phases, *extra), table.conditions, tuple(rows)))


def _sent(row: Row, entry: str, instead: str) -> Row:
    return replace(row, to=instead) if row.to == entry and row.source in ("settling",) else row


def test_a_table_of_twenty_phases_is_explored_whole() -> None:
    setting = long_setting(20)
    assert len(setting.table.phases) == 20
    done = explore(setting, cases=False)
    assert done.complete
    assert done.states > 20_000


def test_the_sound_small_table_meets_no_slack_string() -> None:
    setting = setting_of(sound())
    walk = Walk(setting.table, abstract(setting), Broken.NOTHING, 100_000)
    walk.go()
    down = setting.table.phase_index("down")
    assert all(state.cell >= walk.lift.stop for state in walk.found() if state.phase == down)
    assert any(setting.table.phases[state.phase].role is Role.ZEROED for state in walk.found())


def test_a_wait_without_end_needs_no_bad_luck() -> None:
    """Timers count as over some day, so a phase with a time limit is left and one without is not."""
    ends = [violation.invariant for violation in explore(flawed("waits without a time limit")).violations]
    assert ends == [Invariant.ENDS.value]
    assert explore(setting_of(sound()), cases=False).violations == ()


def test_with_the_hard_stop_as_sensor_it_is_clean_too() -> None:
    given = given_with({})
    del given["routine"], given["tolerances"]
    given["sensor"] = [{"kind": "stall", "mount_mm": 0}]
    review = review_setting(prepare(assemble(given, "stall.toml")))
    assert review.clean


def test_every_phase_of_the_long_table_is_met() -> None:
    setting = long_setting(20)
    walk = Walk(setting.table, abstract(setting), Broken.NOTHING, 100_000)
    walk.go()
    assert {state.phase for state in walk.found()} == set(range(20))
