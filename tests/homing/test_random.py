"""Random numbers of the kernel: the published generator, and streams that do not touch each other."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from homing.kernel.random import (
    BURST_STREAM,
    FAULT_STREAM,
    LOOP_STREAM,
    READING_STREAM,
    SENSOR_STREAM,
    START_STREAM,
    TOLERANCE_STREAM,
    bell,
    fill_uniforms,
    four_uniforms,
    philox,
)

STREAMS = (
    LOOP_STREAM,
    SENSOR_STREAM,
    READING_STREAM,
    BURST_STREAM,
    START_STREAM,
    TOLERANCE_STREAM,
    FAULT_STREAM,
)
#: Numbers drawn where a share or a mean is looked at; its sampling error is stated there.
MANY = 4096

# Known answers for Philox4x32 with ten rounds: counter, key, output. From the file of known answers of
# the Random123 distribution (Salmon, Moraes, Dror, Shaw, SC11), from memory.
KNOWN_ANSWERS = [
    ("00000000 00000000 00000000 00000000", "00000000 00000000", "6627e8d5 e169c58d bc57ac4c 9b00dbd8"),
    ("ffffffff ffffffff ffffffff ffffffff", "ffffffff ffffffff", "408f276d 41c83b0e a20bc7c6 6d5451fd"),
    ("243f6a88 85a308d3 13198a2e 03707344", "a4093822 299f31d0", "d16cfe09 94fdcceb 5001e420 24126ea1"),
]

#: Constants of Philox4xW by word width: two multipliers, two steps of the key (same paper, section 4).
CONSTANTS = {
    32: (0xD2511F53, 0xCD9E8D57, 0x9E3779B9, 0xBB67AE85),
    64: (0xD2E7470EE14C6C93, 0xCA5A826395121157, 0x9E3779B97F4A7C15, 0xBB67AE8584CAA73B),
}


def words(text: str) -> list[int]:
    return [int(word, 16) for word in text.split()]


def kernel_philox(counter: list[int], key: list[int]) -> list[int]:
    return [int(word) for word in philox(*map(np.uint64, (*counter, *key)))]


def plain_philox(counter: list[int], key: list[int], width: int) -> list[int]:
    """Ten rounds in Python's own integers, written from the paper for any word width."""
    multiply_0, multiply_1, step_0, step_1 = CONSTANTS[width]
    mask = (1 << width) - 1
    (a, b, c, d), (k, m) = counter, key
    for _ in range(10):
        first, second = multiply_0 * a, multiply_1 * c
        a, b, c, d = (second >> width) ^ b ^ k, second & mask, (first >> width) ^ d ^ m, first & mask
        k, m = (k + step_0) & mask, (m + step_1) & mask
    return [a, b, c, d]


@pytest.mark.parametrize(("counter", "key", "output"), KNOWN_ANSWERS)
def test_known_answers(counter: str, key: str, output: str) -> None:
    assert kernel_philox(words(counter), words(key)) == words(output)


def test_the_plain_form_is_numpys_philox_at_64_bits() -> None:
    # numpy has the 64-bit sister only: it vouches for the rounds of ``plain_philox``, not for our constants
    rng = np.random.Philox(counter=[6, 7, 8, 9], key=[10, 11])
    assert rng.random_raw(4).tolist() == plain_philox([7, 7, 8, 9], [10, 11], 64)  # it counts up first


def test_the_kernel_is_the_plain_form_at_32_bits() -> None:
    rng = np.random.default_rng(1)
    for row in rng.integers(0, 2**32, (50, 6)).tolist():
        assert kernel_philox(row[:4], row[4:]) == plain_philox(row[:4], row[4:], 32)


def test_seed_run_and_stream_reach_every_word_of_counter_and_key() -> None:
    # beyond 32 bits too: run numbers of faults start at 2**41, a seed may have 63 bits
    seed, run, stream, counter = 5 + 2**40, 3 + 2**41, 6, 7
    drawn = plain_philox([7, 3, 2**9, 6], [5, 2**8], 32)
    assert four_uniforms(seed, run, stream, counter) == tuple((word + 0.5) / 2**32 for word in drawn)


def test_any_change_of_seed_run_stream_or_counter_changes_all_four_numbers() -> None:
    places = list(product((0, 1, 2**40), (0, 1, 2**40, 2**41), STREAMS, (0, 1, 2, 4096)))
    drawn = [value for place in places for value in four_uniforms(*place)]
    # 1344 numbers of 32 bits: two alike by chance once in five thousand such sets
    assert len(set(drawn)) == len(drawn)


def test_uniforms_fill_the_open_unit_interval_evenly() -> None:
    drawn = np.array([four_uniforms(1, run, TOLERANCE_STREAM, 0) for run in range(MANY)])
    assert drawn.min() > 0.0
    assert drawn.max() < 1.0
    for lane in drawn.T:
        counts = np.bincount((lane * 16).astype(int), minlength=16)
        chi_square = float(((counts - MANY / 16) ** 2 / (MANY / 16)).sum())
        assert chi_square < 37.7  # 99.9 % point for 15 degrees of freedom; from memory of the table


@pytest.mark.parametrize("other", ["next run", "next seed", "next counter", "next lane", "other stream"])
def test_neighbouring_numbers_are_not_correlated(other: str) -> None:
    def column(seed: int = 1, run: int = 0, stream: int = LOOP_STREAM, counter: int = 0, lane: int = 0):  # type: ignore[no-untyped-def]
        return np.array([four_uniforms(seed, run + i, stream, counter)[lane] for i in range(MANY)])

    neighbour = {
        "next run": {"run": 1},
        "next seed": {"seed": 2},
        "next counter": {"counter": 1},
        "next lane": {"lane": 1},
        "other stream": {"stream": FAULT_STREAM},
    }[other]
    correlation = float(np.corrcoef(column(), column(**neighbour))[0, 1])
    assert abs(correlation) < 4.0 / np.sqrt(MANY)  # four standard errors


def test_streams_have_numbers_of_their_own() -> None:
    assert len(set(STREAMS)) == len(STREAMS)


def test_bell_ends_at_three_and_is_odd_about_its_middle() -> None:
    assert bell(0.0, 0.0, 0.0) == -3.0
    assert bell(1.0, 1.0, 1.0) == 3.0
    assert bell(0.5, 0.5, 0.5) == 0.0
    assert bell(0.2, 0.9, 0.3) == pytest.approx(-bell(0.8, 0.1, 0.7), abs=1e-15)


def test_bell_has_mean_0_and_standard_deviation_1() -> None:
    # a uniform on (-1, 1) has variance 1/3, three of them 1
    drawn = np.array([bell(*four_uniforms(1, run, LOOP_STREAM, 0)[:3]) for run in range(MANY)])
    assert drawn.mean() == pytest.approx(0.0, abs=4.0 / np.sqrt(MANY))
    # excess kurtosis -0.4: the standard error of the deviation is sqrt((2 - 0.4) / 4 / n)
    assert drawn.std() == pytest.approx(1.0, abs=4.0 * np.sqrt(0.4 / MANY))


def test_a_filled_row_belongs_to_its_run_whatever_stands_beside_it() -> None:
    runs = np.array([7, 2**41 + 3, 0], dtype=np.int64)
    narrow, wide = np.empty((3, 5)), np.empty((3, 8))
    fill_uniforms(9, runs, TOLERANCE_STREAM, 5, narrow)
    fill_uniforms(9, runs[::-1].copy(), TOLERANCE_STREAM, 8, wide)
    assert np.array_equal(narrow, wide[::-1, :5])
    assert tuple(narrow[0, :4]) == four_uniforms(9, 7, TOLERANCE_STREAM, 0)
    assert narrow[0, 4] == four_uniforms(9, 7, TOLERANCE_STREAM, 1)[0]
