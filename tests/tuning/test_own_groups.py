"""Numbers of an own table that are one setting, and the guards among them."""

from __future__ import annotations

from ownlifts import own_text, small_lift
from tuningcases import lift_of

from homing.liftfile import Lift
from homing.setting import prepare
from homing.tuning.groups import groups
from homing.tuning.rules import Measure, rules


def keys(lift: Lift) -> dict[str, tuple[str, ...]]:
    assert lift.own_routine is not None
    return {group.key: group.keys for group in groups(lift.own_routine)}


def test_equal_numbers_of_one_kind_are_one_setting() -> None:
    found = keys(small_lift())
    assert found["row.8.when.standstill_ms"] == ("row.8.when.standstill_ms", "row.9.when.standstill_ms")
    apart = keys(small_lift({"standstill_ms = 100 }, { not_made": "standstill_ms = 150 }, { not_made"}))
    assert apart["row.8.when.standstill_ms"] == ("row.8.when.standstill_ms",)


def test_readings_and_their_opposite_go_together_but_not_those_that_stop_a_way_in() -> None:
    found = keys(small_lift())
    assert found["row.4.when.made_times"] == ("row.4.when.made_times",)
    assert found["row.8.when.made_times"] == ("row.8.when.made_times", "row.9.when.not_made_times")


def test_a_way_in_and_a_way_out_are_two_settings_though_equal() -> None:
    found = keys(small_lift())
    assert found["phase.up.speed_mm_s"] == ("phase.up.speed_mm_s",)
    assert found["phase.down.speed_mm_s"] == ("phase.down.speed_mm_s",)


def test_a_guard_is_not_one_with_a_step_of_the_same_number() -> None:
    found = keys(small_lift({"moved_out_mm = 60": "moved_out_mm = 50"}))
    assert found["row.2.when.moved_out_mm"] == ("row.2.when.moved_out_mm",)
    assert found["row.3.when.moved_out_mm"] == ("row.3.when.moved_out_mm",)


def test_phases_that_wait_or_have_given_up_stay_out() -> None:
    lift = small_lift({'command = { stop = "shorted" }': "command = { duty = 0.05 }"})
    assert "phase.off.duty" not in keys(lift)


def test_every_number_of_the_example_is_in_one_group() -> None:
    lift = lift_of(own_text())
    grouped = [key for group in keys(lift).values() for key in group]
    numbers = [key for key in lift.quantities() if key.startswith(("routine.phase.", "routine.row."))]
    assert sorted(grouped) == sorted(key.removeprefix("routine.") for key in numbers)


def test_guards_of_phases_that_move_are_set_by_rule() -> None:
    found = {rule.key: rule for rule in rules(prepare(small_lift()))}
    assert {key: rule.measure for key, rule in found.items()} == {
        "row.3.when.moved_out_mm": Measure.OUT,
        "row.5.when.moved_mm": Measure.EITHER_WAY,
        "row.6.when.in_phase_s": Measure.TIME,
    }
    # the time-out of the phase that stands is the same number, and goes with it
    assert found["row.6.when.in_phase_s"].also == ("row.7.when.in_phase_s",)
    assert found["row.6.when.in_phase_s"].phases == {"down", "rest"}
    assert [key for key, rule in found.items() if rule.raised_only] == ["row.3.when.moved_out_mm"]


def test_a_guard_that_asks_for_more_is_left_alone() -> None:
    """Healthy runs may be far beyond its number, as long as the rest of the row does not hold."""
    lift = small_lift({"when = [{ moved_mm = 700 }]": 'when = [{ moved_mm = 30 }, "referenced"]'})
    assert "row.5.when.moved_mm" not in {rule.key for rule in rules(prepare(lift))}


def test_guards_of_phases_whose_clocks_run_on_are_left_alone() -> None:
    lift = small_lift({'to = "up"\n\n[[routine.row]]\nfrom = "up"\nwhen = [{ moved_out_mm = 50 }]':
                       'to = "up"\ndo = ["keep_clocks"]\n\n[[routine.row]]\nfrom = "up"\n'
                       "when = [{ moved_out_mm = 50 }]"})  # fmt: skip
    assert rules(prepare(lift)) == ()


def test_standing_that_ends_a_way_in_is_no_guard() -> None:
    lift = small_lift({"when = [{ made_times = 3 }]": "when = [{ not_moving_ms = 200 }]"})
    assert Measure.STANDING not in {rule.measure for rule in rules(prepare(lift))}
    guarded = small_lift({"when = [{ moved_mm = 700 }]": "when = [{ not_moving_ms = 200 }]"})
    assert Measure.STANDING in {rule.measure for rule in rules(prepare(guarded))}
