"""One injected defect of each kind is found at its rows; the clean log shows none of them.

Each case spoils the same clean log in one place. Wrap lengths: a 16-bit millisecond counter wraps after
65.536 s, a 32-bit microsecond counter after 4294.967 s (computed from the word length).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from logfiles import Story, rows_of, up_and_down, write

from replay import read_log
from replay.defects import DefectKind, counter_breaks, counter_wraps, stamp_wraps

K = DefectKind


def test_the_clean_log_has_no_defects(tmp_path: Path) -> None:
    log = read_log(write(tmp_path, up_and_down().text()))
    assert log.defects == ()
    assert log.rows == len(log) == 400
    assert len(log.stretches) == 1


def _duplicate(story: Story) -> Story:
    t = story.t_ms.copy()
    t[[50, 121]] = t[[49, 120]]
    return story.with_stamps(t)


def _backward(story: Story) -> Story:
    return story.with_stamps(np.where(np.arange(len(story)) >= 200, story.t_ms - 3900, story.t_ms))


def _stamp_wrap(story: Story) -> Story:
    return story.with_stamps((story.t_ms - story.t_ms[0] + 65536 - 4000) % 65536)


def _gap(story: Story) -> Story:
    # rows go missing while the lift moves: the count goes on as the clock does
    return story.without(slice(110, 116))


def _clock_jump(story: Story) -> Story:
    # the clock is set forward by 5 s while the lift moves: the count does not know
    return story.with_stamps(np.where(np.arange(len(story)) >= 115, story.t_ms + 5000, story.t_ms))


def _counter_wrap(story: Story) -> Story:
    return story.with_counts((story.counts + 32000 + 32768) % 65536 - 32768)


def _counter_reset(story: Story) -> Story:
    counts = story.counts.copy()
    counts[118:] -= counts[118]
    return story.with_counts(counts)


def _reset_at_rest(story: Story) -> Story:
    counts = story.counts + 40
    counts[390:] = 0
    return story.with_counts(counts)


def _counter_jump(story: Story) -> Story:
    counts = story.counts.copy()
    counts[118:] += 2500
    return story.with_counts(counts)


CASES: dict[DefectKind, tuple[Callable[[Story], Story], list[int]]] = {
    K.DUPLICATE_STAMP: (_duplicate, [50, 121]),
    K.BACKWARD_STAMP: (_backward, [200]),
    K.WRAPPED_STAMP: (_stamp_wrap, [200]),
    K.GAP: (_gap, [110]),
    K.CLOCK_JUMP: (_clock_jump, [115]),
    K.COUNTER_RESET: (_counter_reset, [118]),
    K.COUNTER_JUMP: (_counter_jump, [118]),
}


@pytest.mark.parametrize("kind", CASES, ids=lambda kind: kind.value)
def test_a_defect_is_found_at_its_rows_and_nothing_else(kind: DefectKind, tmp_path: Path) -> None:
    spoil, rows = CASES[kind]
    log = read_log(write(tmp_path, spoil(up_and_down()).text()))
    assert rows_of(log, kind) == rows
    assert {each.kind for each in log.defects} == {kind}


def test_a_count_set_to_zero_at_rest_is_a_reset(tmp_path: Path) -> None:
    log = read_log(write(tmp_path, _reset_at_rest(up_and_down()).text()))
    assert rows_of(log, K.COUNTER_RESET) == [390]


def test_a_wrapped_counter_is_unwrapped_and_said(tmp_path: Path) -> None:
    story = up_and_down()
    spoilt = _counter_wrap(story)
    crossing = np.flatnonzero(np.abs(np.diff(spoilt.counts)) > 32768) + 1
    assert len(crossing) == 2, "the injection must wrap once out and once back"
    log = read_log(write(tmp_path, spoilt.text()))
    assert rows_of(log, K.COUNTER_WRAP) == crossing.tolist()
    np.testing.assert_array_equal(log.counts - log.counts[0], story.counts - story.counts[0])
    assert "2^16" in next(each.note for each in log.defects if each.kind is K.COUNTER_WRAP)


def test_negative_counts_printed_unsigned_are_unwrapped() -> None:
    raw = np.array([3.0, 1.0, 65535.0, 65533.0, 65535.0, 2.0])
    out, at, bits = counter_wraps(raw)
    np.testing.assert_array_equal(out, [3, 1, -1, -3, -1, 2])
    assert at.tolist() == [2, 5]
    assert bits == 16


def test_a_32_bit_counter_wraps_too() -> None:
    raw = np.array([2**31 - 5.0, 2**31 - 1.0, -(2.0**31) + 3, -(2.0**31) + 7])
    out, at, bits = counter_wraps(raw)
    assert np.diff(out).tolist() == [4, 4, 4]
    assert (at.tolist(), bits) == ([2], 32)


def test_a_fall_to_zero_is_no_wrap() -> None:
    raw = np.array([40000.0, 40010.0, 40020.0, 0.0, 10.0])
    _, at, _ = counter_wraps(raw)
    assert at.size == 0


def test_a_wrapped_stamp_is_unwrapped_and_a_reboot_is_not() -> None:
    period = 20_000
    wrapping = (np.arange(6) * period + 2**32 - 50_000) % 2**32
    out, at, bits = stamp_wraps(wrapping)
    assert set(np.diff(out).tolist()) == {period}
    assert (at.tolist(), bits) == ([3], 32)
    reboot = np.array([30_000, 30_020, 30_040, 5, 25, 45])
    assert stamp_wraps(reboot)[1].size == 0


def test_time_splits_where_it_goes_back(tmp_path: Path) -> None:
    log = read_log(write(tmp_path, _backward(up_and_down()).text()))
    assert [(part.start, part.stop) for part in log.stretches] == [(0, 200), (200, 400)]
    assert log.duration_s == pytest.approx(2 * 199 * 0.02)


@pytest.mark.parametrize("late_ms", [50, 200])
def test_a_late_loop_is_a_gap_since_the_count_moved_on(late_ms: int, tmp_path: Path) -> None:
    story = up_and_down()
    # the controller sleeps, the lift does not: counts advance with the clock
    t = np.where(np.arange(400) >= 115, story.t_ms + late_ms, story.t_ms)
    steps = np.diff(story.counts, prepend=0)
    steps[115] += round(30 * late_ms / 20)
    log = read_log(write(tmp_path, Story(t, np.cumsum(steps)).text()))
    assert rows_of(log, K.GAP) == [115]
    assert rows_of(log, K.CLOCK_JUMP) == []
    assert rows_of(log, K.COUNTER_JUMP) == []


def test_hard_starts_and_stops_are_no_breaks() -> None:
    # full speed from one row to the next and back: violent, but every change lasts
    counts = np.concatenate([np.zeros(50), np.arange(1, 51) * 40.0, np.full(50, 2000.0)])
    resets, jumps = counter_breaks(counts, np.arange(150) * 0.02, np.array([0]))
    assert resets.size == jumps.size == 0


def test_unreadable_and_empty_cells_are_named_by_column(tmp_path: Path) -> None:
    rows = [f"{20 * i},{i},{'x?' if i == 4 else '' if i in (6, 7) else 12.5}" for i in range(20)]
    log = read_log(write(tmp_path, "t_ms,counts,vbat\n" + "\n".join(rows)))
    found = {each.kind: each for each in log.defects}
    assert set(found) == {K.UNREADABLE_CELL, K.EMPTY_CELL}
    assert (found[K.UNREADABLE_CELL].column, found[K.UNREADABLE_CELL].rows) == ("vbat", (4,))
    assert (found[K.EMPTY_CELL].column, found[K.EMPTY_CELL].rows) == ("vbat", (6, 7))


@pytest.mark.parametrize("word", ["", "NaN", "nan", "null", "N/A", "-"])
def test_ways_to_write_nothing(word: str, tmp_path: Path) -> None:
    rows = [f"{20 * i},{word if i == 3 else i}" for i in range(10)]
    log = read_log(write(tmp_path, "t_ms,counts\n" + "\n".join(rows)))
    assert rows_of(log, K.EMPTY_CELL) == [3]
    assert np.isnan(log.counts[3])


@pytest.mark.parametrize("word", ["inf", "-Infinity", "1.2.3", "true", "1_000", "0x1F", "12,5,1"])
def test_what_is_no_number_is_unreadable(word: str, tmp_path: Path) -> None:
    rows = [f"{20 * i};{word if i == 3 else i}" for i in range(10)]
    log = read_log(write(tmp_path, "t_ms;counts\n" + "\n".join(rows)))
    assert rows_of(log, K.UNREADABLE_CELL) == [3]


def test_a_row_without_a_stamp_is_left_out_and_rows_keep_their_numbers(tmp_path: Path) -> None:
    rows = [f"{'' if i == 3 else '?' if i == 5 else 20 * i},{i}" for i in range(10)]
    log = read_log(write(tmp_path, "t_ms,counts\n" + "\n".join(rows)))
    assert rows_of(log, K.EMPTY_CELL) == [3]
    assert rows_of(log, K.UNREADABLE_CELL) == [5]
    assert log.row.tolist() == [0, 1, 2, 4, 6, 7, 8, 9]
    assert (log.rows, len(log)) == (10, 8)


@pytest.mark.parametrize("tail", ["7980", "7980,", ""])
def test_a_torn_last_line(tail: str, tmp_path: Path) -> None:
    text = up_and_down().text().replace("\n", ",12.5\n").replace("counts,12.5", "counts,vbat")
    log = read_log(write(tmp_path, text + tail))
    assert rows_of(log, K.TORN_LAST_LINE) == ([400] if tail else [])
    assert len(log) == 400


def test_a_broken_line_in_the_middle_and_a_header_repeated_after_a_restart(tmp_path: Path) -> None:
    story = up_and_down(rows=100)
    lines = story.text().splitlines()
    lines[31] = lines[31].split(",")[0]
    again = [f"{t},{c}" for t, c in zip(story.t_ms[:50], story.counts[:50], strict=True)]
    log = read_log(write(tmp_path, "\n".join([*lines, lines[0], *again])))
    assert rows_of(log, K.BROKEN_LINE) == [30]
    assert rows_of(log, K.REPEATED_HEADER) == [100]
    assert rows_of(log, K.BACKWARD_STAMP) == [100]
    assert [len(range(*part.indices(len(log)))) for part in log.stretches] == [99, 50]


def test_zeros_left_by_a_power_loss_are_said(tmp_path: Path) -> None:
    path = write(tmp_path, up_and_down().text())
    path.write_bytes(path.read_bytes() + b"\0" * 512)
    log = read_log(path)
    assert len(log) == 400
    assert any("512 zero bytes" in note for note in log.notes)
