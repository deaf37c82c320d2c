"""Random numbers that depend only on (seed, run, stream, counter).

Philox4x32-10, a counter-based generator: the same four numbers always give the same bits, so runs
can be drawn in any order, on any number of workers. Known-answer vectors are tested.

References
----------
.. [1] J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as easy as
   1, 2, 3", SC11, 2011, section 4.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from homing.kernel.build import compiled

Word: TypeAlias = np.uint64

LOOP_STREAM = 1
SENSOR_STREAM = 2
READING_STREAM = 3
BURST_STREAM = 4
START_STREAM = 5
TOLERANCE_STREAM = 6
FAULT_STREAM = 7

_MASK = np.uint64(0xFFFFFFFF)
_SHIFT = np.uint64(32)
_MULTIPLY_0 = np.uint64(0xD2511F53)
_MULTIPLY_1 = np.uint64(0xCD9E8D57)
_WEYL_0 = np.uint64(0x9E3779B9)
_WEYL_1 = np.uint64(0xBB67AE85)
_TO_UNIT = 1.0 / 4294967296.0


@compiled
def philox(c0: Word, c1: Word, c2: Word, c3: Word, k0: Word, k1: Word) -> tuple[Word, Word, Word, Word]:
    """Ten rounds of Philox4x32 on uint64 words that hold 32 bits each; returns four such words."""
    for _ in range(10):
        product_0 = _MULTIPLY_0 * c0
        product_1 = _MULTIPLY_1 * c2
        c0, c1, c2, c3 = (
            (product_1 >> _SHIFT) ^ c1 ^ k0,
            product_1 & _MASK,
            (product_0 >> _SHIFT) ^ c3 ^ k1,
            product_0 & _MASK,
        )
        k0 = (k0 + _WEYL_0) & _MASK
        k1 = (k1 + _WEYL_1) & _MASK
    return c0, c1, c2, c3


@compiled
def four_uniforms(seed: int, run: int, stream: int, counter: int) -> tuple[float, float, float, float]:
    """Four numbers in (0, 1) from (seed, run, stream, counter), 32 bits each."""
    a, b, c, d = philox(
        np.uint64(counter) & _MASK,
        np.uint64(run) & _MASK,
        np.uint64(run) >> _SHIFT,
        np.uint64(stream),
        np.uint64(seed) & _MASK,
        np.uint64(seed) >> _SHIFT,
    )
    return (
        (float(a) + 0.5) * _TO_UNIT,
        (float(b) + 0.5) * _TO_UNIT,
        (float(c) + 0.5) * _TO_UNIT,
        (float(d) + 0.5) * _TO_UNIT,
    )


@compiled
def bell(first: float, second: float, third: float) -> float:
    """Sum of three uniforms on (-1, 1): mean 0, standard deviation 1, never beyond +-3.

    Stands for a normal law cut at three standard deviations; needs no transcendental function,
    whose last bit may differ between machines.
    """
    return 2.0 * (first + second + third) - 3.0


@compiled
def fill_uniforms(seed: int, runs: Any, stream: int, columns: int, out: Any) -> None:
    """Fill ``out`` (n, columns) with uniforms; row i belongs to run ``runs[i]``, column to its counter."""
    for i in range(len(runs)):
        for block in range((columns + 3) // 4):
            values = four_uniforms(seed, runs[i], stream, block)
            for lane in range(4):
                if 4 * block + lane < columns:
                    out[i, 4 * block + lane] = values[lane]
