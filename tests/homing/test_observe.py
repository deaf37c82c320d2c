"""What the routine makes of readings and counts: every condition at its border, every effect.

One count is one millimetre and one loop is 1/64 s here, so that borders are met exactly.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from homing.kernel.codes import Condition, Effect
from homing.kernel.layout import MEMORY, RUN, scratch
from homing.kernel.observe import apply_effects, choose_row, declared_height, enter, holds, observe, take_note

LOOP_S = 1 / 64


class Desk:
    """A controller's memory, fed loop by loop."""

    def __init__(self) -> None:
        self.run: Any = scratch(RUN)[0]
        self.run.counts_per_m, self.run.period_s, self.run.reference_m = 1000.0, LOOP_S, 0.03
        self.memory: Any = scratch(MEMORY)[0]
        self.memory.tick_s = self.memory.previous_tick_s = -1.0
        self.loops = 0

    def feed(self, counts: int | list[int], made: int = 0, late_s: float = 0.0) -> Desk:
        """One loop with these counts, or one for each of a list."""
        for each in counts if isinstance(counts, list) else [counts]:
            self.loops += 1
            time_s = self.loops * LOOP_S if late_s == 0.0 else self.memory.tick_s + late_s
            take_note(self.run, self.memory, time_s, each, made)
        return self

    def enter(self, way: int) -> Desk:
        enter(self.memory, 1, way)
        return self

    def holds(self, kind: Condition, a: float = 0.0) -> bool:
        return bool(holds(self.run, self.memory, int(kind), a))


def test_made_is_the_last_reading() -> None:
    desk = Desk()
    assert not desk.feed(0, made=0).holds(Condition.MADE)
    assert desk.feed(0, made=1).holds(Condition.MADE)
    assert not desk.feed(0, made=0).holds(Condition.MADE)


@pytest.mark.parametrize(("kind", "made"), [(Condition.MADE_RUN, 1), (Condition.CLEAR_RUN, 0)])
def test_readings_agree_from_the_last_one_back(kind: Condition, made: int) -> None:
    desk = Desk().feed(0, made=1 - made).feed(0, made=made)
    assert not desk.holds(kind, 2.0)
    assert desk.feed(0, made=made).holds(kind, 2.0)
    assert not desk.holds(kind, 3.0)
    assert not desk.feed(0, made=1 - made).holds(kind, 1.0)


def test_readings_agree_across_phases() -> None:
    desk = Desk().feed([0, 0], made=1).enter(way=0)
    assert desk.holds(Condition.MADE_RUN, 2.0)


def test_clear_by_counts_from_the_last_made_reading() -> None:
    desk = Desk().feed(0, made=1).enter(way=1).feed(5, made=1)
    assert not desk.feed([10, 14]).holds(Condition.CLEAR_BY, 0.010)
    assert desk.feed(15).holds(Condition.CLEAR_BY, 0.010)
    assert not desk.feed(16, made=1).holds(Condition.CLEAR_BY, 0.010)
    assert not desk.feed(25).holds(Condition.CLEAR_BY, 0.010)
    assert desk.feed(26).holds(Condition.CLEAR_BY, 0.010)


def test_clear_by_counts_from_the_phase_if_never_made_in_it() -> None:
    desk = Desk().feed(0, made=1).feed(50).enter(way=1)
    assert not desk.feed(59).holds(Condition.CLEAR_BY, 0.010)
    assert desk.feed(60).holds(Condition.CLEAR_BY, 0.010)
    assert not Desk().feed(50).enter(way=1).feed(40).holds(Condition.CLEAR_BY, 0.010)


def test_standstill_needs_the_whole_time() -> None:
    desk = Desk().feed(100).enter(way=0)
    assert not desk.feed([100] * 4).holds(Condition.STANDSTILL, 5 * LOOP_S)
    assert desk.feed(100).holds(Condition.STANDSTILL, 5 * LOOP_S)
    assert not desk.feed(102).holds(Condition.STANDSTILL, 5 * LOOP_S)


def test_standstill_bears_a_flicker_of_one_count_and_sees_a_slow_drift() -> None:
    assert (
        Desk().feed(100).enter(way=0).feed([101, 100, 99, 100, 101]).holds(Condition.STANDSTILL, 5 * LOOP_S)
    )
    assert (
        not Desk()
        .feed(100)
        .enter(way=0)
        .feed([101, 101, 102, 102, 103])
        .holds(Condition.STANDSTILL, 5 * LOOP_S)
    )


def test_standstill_before_the_phase_does_not_count() -> None:
    desk = Desk().feed([100] * 20)
    assert desk.holds(Condition.STANDSTILL, 5 * LOOP_S)
    assert not desk.enter(way=0).feed(100).holds(Condition.STANDSTILL, 5 * LOOP_S)


def test_timer_is_over_strictly_later_and_restarts_with_the_phase() -> None:
    desk = Desk().feed(0).enter(way=0).feed([0] * 5)
    elapsed_s = desk.memory.tick_s - desk.memory.entered_s
    assert not desk.holds(Condition.TIMER_OVER, elapsed_s)
    assert desk.holds(Condition.TIMER_OVER, np.nextafter(elapsed_s, 0.0))
    assert not desk.enter(way=0).holds(Condition.TIMER_OVER, 0.0)
    assert desk.feed(0).holds(Condition.TIMER_OVER, 0.0)


@pytest.mark.parametrize("sign", [1, -1])
def test_moved_counts_either_way_strictly_more(sign: int) -> None:
    desk = Desk().feed(500).enter(way=1)
    assert not desk.feed(500 + sign * 150).holds(Condition.MOVED, 0.150)
    assert desk.feed(500 + sign * 151).holds(Condition.MOVED, 0.150)
    assert not desk.enter(way=1).feed(500 + sign * 151).holds(Condition.MOVED, 0.150)


def test_moved_out_is_reached_at_the_distance_and_not_inwards() -> None:
    desk = Desk().feed(500).enter(way=1)
    assert not desk.feed(539).holds(Condition.MOVED_OUT, 0.040)
    assert desk.feed(540).holds(Condition.MOVED_OUT, 0.040)
    assert not desk.feed(440).holds(Condition.MOVED_OUT, 0.040)


@pytest.mark.parametrize("way", [1, -1])
def test_not_moving_needs_an_order_to_move_and_the_whole_time(way: int) -> None:
    desk = Desk().feed(500).enter(way)
    assert not desk.feed([500] * 19).holds(Condition.NOT_MOVING, 20 * LOOP_S)
    assert desk.feed(500).holds(Condition.NOT_MOVING, 20 * LOOP_S)
    assert not desk.feed(500 + 2 * way).holds(Condition.NOT_MOVING, 20 * LOOP_S)
    assert not Desk().feed(500).enter(way=0).feed([500] * 40).holds(Condition.NOT_MOVING, 20 * LOOP_S)


@pytest.mark.parametrize("way", [1, -1])
def test_wrong_way_is_against_the_order_strictly_more(way: int) -> None:
    desk = Desk().feed(500).enter(way)
    assert not desk.feed(500 - 20 * way).holds(Condition.WRONG_WAY, 0.020)
    assert desk.feed(500 - 21 * way).holds(Condition.WRONG_WAY, 0.020)
    assert not desk.feed(500 + 100 * way).holds(Condition.WRONG_WAY, 0.020)
    assert not Desk().feed(500).enter(way=0).feed(400).holds(Condition.WRONG_WAY, 0.020)


def test_heights_are_known_only_when_referenced() -> None:
    desk = Desk().feed(10)
    assert not desk.holds(Condition.REFERENCED)
    assert not desk.holds(Condition.BELOW, 1.0)
    assert not desk.holds(Condition.ABOVE, -1.0)
    desk.memory.has_zero = 1
    assert desk.holds(Condition.REFERENCED)
    assert desk.holds(Condition.BELOW, 1.0)
    assert desk.holds(Condition.ABOVE, -1.0)


def test_below_and_above_at_the_border() -> None:
    desk = Desk()
    desk.memory.has_zero, desk.memory.zero_counts = 1, 0.0
    height_m = declared_height(desk.run, desk.feed(60).memory, 60.0)
    assert height_m == pytest.approx(0.03 + 0.06)
    for kind, further in ((Condition.BELOW, 59), (Condition.ABOVE, 61)):
        assert not desk.feed(60).holds(kind, height_m)
        assert desk.feed(further).holds(kind, height_m)


def test_counts_jump_when_faster_than_the_loop_allows() -> None:
    desk = Desk().feed([0, 0])
    # 0.64 m/s in one loop: 10 counts
    assert not desk.feed(10).holds(Condition.JUMPED, 0.64)
    assert desk.feed(21).holds(Condition.JUMPED, 0.64)
    assert desk.feed(10).holds(Condition.JUMPED, 0.64)
    assert not desk.feed(50, late_s=4 * LOOP_S).holds(Condition.JUMPED, 0.64)


def test_first_loop_cannot_have_jumped() -> None:
    assert not Desk().feed(1_000_000).holds(Condition.JUMPED, 0.75)


@pytest.mark.parametrize(("length_s", "late"), [(1.5 * LOOP_S, False), (1.51 * LOOP_S, True)])
def test_edge_read_across_an_overlong_loop_is_remembered(length_s: float, late: bool) -> None:
    desk = Desk().feed([100, 99]).feed(90, made=1, late_s=length_s)
    apply_effects(desk.memory, Effect.CAPTURE_EDGE)
    desk.feed(89, made=1)
    assert desk.holds(Condition.EDGE_LONG_LOOP) is late


def test_late_loop_away_from_the_edge_does_not_matter() -> None:
    desk = Desk().feed(100).feed(99, late_s=0.1).feed(98, made=1, late_s=LOOP_S)
    apply_effects(desk.memory, Effect.CAPTURE_EDGE)
    assert not desk.holds(Condition.EDGE_LONG_LOOP)


def test_retries_are_used_up_when_counted_so_often() -> None:
    desk = Desk().feed(0)
    assert desk.holds(Condition.RETRIES_USED, 0.0)
    for used in (False, True, True):
        apply_effects(desk.memory, Effect.COUNT_RETRY)
        assert desk.holds(Condition.RETRIES_USED, 2.0) is used


@pytest.mark.parametrize(("second", "agree"), [(98, True), (102, True), (97, False), (103, False)])
def test_edges_agree_within_the_tolerance_either_way(second: int, agree: bool) -> None:
    desk = Desk().feed([100, 100], made=1)
    apply_effects(desk.memory, Effect.CAPTURE_EDGE)
    apply_effects(desk.memory, Effect.KEEP_EDGE)
    desk.feed([second, second], made=1)
    apply_effects(desk.memory, Effect.CAPTURE_EDGE)
    assert desk.holds(Condition.EDGES_AGREE, 0.002) is agree


def test_edge_lies_midway_between_two_loops_and_zero_is_taken_from_it() -> None:
    desk = Desk().feed(100).feed(93, made=1)
    apply_effects(desk.memory, Effect.CAPTURE_EDGE)
    desk.feed([80, 79, 79], made=1)
    apply_effects(desk.memory, Effect.SET_ZERO)
    assert desk.memory.has_zero == 1
    assert desk.memory.zero_counts == 96.5
    # the edge is declared to be the reference height, wherever the lift stands by now
    assert declared_height(desk.run, desk.memory, 96.5) == pytest.approx(0.03)
    assert declared_height(desk.run, desk.memory, 79.0) == pytest.approx(0.03 - 0.0175)


def test_keeping_comes_before_capturing_in_one_row() -> None:
    desk = Desk().feed([100, 100], made=1)
    apply_effects(desk.memory, Effect.CAPTURE_EDGE)
    desk.feed([50, 50], made=1)
    apply_effects(desk.memory, Effect.KEEP_EDGE | Effect.CAPTURE_EDGE)
    assert (desk.memory.kept_edge_counts, desk.memory.edge_counts) == (100.0, 50.0)


def test_row_without_effects_changes_nothing() -> None:
    desk = Desk().feed([100, 98], made=1)
    before = desk.memory.tobytes()
    apply_effects(desk.memory, 0)
    assert desk.memory.tobytes() == before


def test_entering_restarts_clock_distance_and_stillness() -> None:
    desk = Desk().feed([0, 40, 80]).enter(way=-1)
    memory = desk.memory
    assert memory.phase == 1
    assert memory.way == -1
    assert memory.entered_s == memory.still_since_s == memory.tick_s
    assert memory.entry_counts == memory.still_counts == memory.last_made_counts == 80


def test_observe_looks_only_at_what_is_needed() -> None:
    desk = Desk().feed(0, made=1)
    kinds = np.array([Condition.MADE, Condition.REFERENCED, Condition.MADE], dtype=np.int64)
    assert observe(desk.run, desk.memory, 0b111, kinds, np.zeros(3)) == 0b101
    assert observe(desk.run, desk.memory, 0b110, kinds, np.zeros(3)) == 0b100


def test_first_fitting_row_is_chosen() -> None:
    rows = np.array([[0, 0b01, 0, 1, 0, 0], [0, 0b10, 0b01, 2, 0, 0], [0, 0b10, 0, 3, 0, 0]], dtype=np.int64)
    first_row = np.array([0, 3, 3], dtype=np.int64)
    assert [choose_row(rows, first_row, 0, bits) for bits in (0b00, 0b01, 0b10, 0b11)] == [-1, 0, 1, 0]
    assert choose_row(rows, first_row, 1, 0b11) == -1


def test_a_change_of_the_reading_holds_for_one_loop() -> None:
    desk = Desk().feed(0).feed(0, made=1)
    assert desk.holds(Condition.JUST_MADE)
    assert not desk.feed(0, made=1).holds(Condition.JUST_MADE)
    assert not desk.holds(Condition.JUST_RELEASED)
    assert desk.feed(0).holds(Condition.JUST_RELEASED)
    assert not desk.feed(0).holds(Condition.JUST_RELEASED)


def test_moved_in_counts_inward_travel_only() -> None:
    desk = Desk().feed(500).enter(way=-1)
    assert not desk.feed(351).holds(Condition.MOVED_IN, 0.150)
    assert desk.feed(350).holds(Condition.MOVED_IN, 0.150)
    assert not desk.feed(900).holds(Condition.MOVED_IN, 0.150)


def test_made_above_needs_reading_reference_and_height() -> None:
    desk = Desk().feed(100, made=1)
    assert not desk.holds(Condition.MADE_ABOVE, 0.05)
    apply_effects(desk.memory, Effect.ZERO_HERE)
    assert declared_height(desk.run, desk.memory, 100) == desk.run.reference_m
    assert desk.feed(121, made=1).holds(Condition.MADE_ABOVE, 0.050)
    assert not desk.feed(119, made=1).holds(Condition.MADE_ABOVE, 0.050)
    assert not desk.feed(121).holds(Condition.MADE_ABOVE, 0.050)
    apply_effects(desk.memory, Effect.FORGET_ZERO)
    assert not desk.feed(121, made=1).holds(Condition.MADE_ABOVE, 0.050)


def test_retries_can_be_forgotten() -> None:
    desk = Desk().feed(0)
    apply_effects(desk.memory, Effect.COUNT_RETRY)
    assert desk.holds(Condition.RETRIES_USED, 1)
    apply_effects(desk.memory, Effect.FORGET_RETRIES)
    assert not desk.holds(Condition.RETRIES_USED, 1)


def test_clocks_can_be_kept_on_entry() -> None:
    desk = Desk().feed(0).enter(way=-1).feed([-10] * 5)
    enter(desk.memory, 2, 1, int(Effect.KEEP_CLOCKS))
    assert (desk.memory.phase, desk.memory.way) == (2, 1)
    assert desk.holds(Condition.TIMER_OVER, 4 * LOOP_S)
    assert desk.holds(Condition.MOVED, 0.009)
    assert not desk.enter(way=1).holds(Condition.TIMER_OVER, 0.0)
