"""The kernel's own routine as the oracle: stories told to it, and what it made of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from export_manners import HEIGHT, KNOWN, PHASE, REASON, ZERO, misbehave, tell
from numpy.typing import NDArray

from homing.batches import nominal_batch
from homing.export.program import program
from homing.kernel.layout import BODY, MEMORY, scratch
from homing.kernel.setup import set_up_memory
from homing.setting import Setting

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Story:
    """Inputs of one run of the routine, loop by loop, and what the kernel made of them."""

    began_s: float
    first_counts: int
    zero_counts: float | None
    time_s: Floats
    reading: Whole
    counts: Whole
    start: Whole
    kernel: Floats

    def lines(self, routine: int) -> list[str]:
        """The story for a driver."""
        zero = "-" if self.zero_counts is None else repr(self.zero_counts)
        head = f"R {routine} {self.began_s!r} {self.first_counts} {zero}"
        steps = zip(
            self.time_s.tolist(),
            self.reading.tolist(),
            self.counts.tolist(),
            self.start.tolist(),
            strict=True,
        )
        return [head, *(f"S {t!r} {made} {counts} {start}" for t, made, counts, start in steps)]


class Oracle:
    """The kernel's routine for one setting."""

    def __init__(self, setting: Setting, **changes: Any) -> None:
        self.setting = setting
        self.run = nominal_batch(setting).runs[0]
        for name, value in changes.items():
            setattr(self.run, name, value)
        self.table = setting.kernel_table()
        made = program(setting)
        table = setting.table
        codes = dict.fromkeys(table.reason_code(row) for row in table.rows)
        faulted = {phase.name for phase in table.phases if phase.role.value == "faulted"}
        reached = dict.fromkeys(table.reason_code(row) for row in table.rows if row.to in faulted)
        #: code of a reason -> its number in a program
        self.reason_numbers = {0: 0} | {
            code: number for number, code in enumerate((c for c in reached if c != 0), start=1)
        }
        assert len(self.reason_numbers) == len(made.reasons) <= len(codes) + 1
        self.orders = np.array([int(phase.order) for phase in made.phases])
        self.commands = np.array([phase.command for phase in made.phases])

    def memory(self, first_counts: int, spool_m: float = 0.0) -> tuple[Any, float | None]:
        """Memory at power-up at this height, by the kernel's own hand, and the zero it knows."""
        body, memory = scratch(BODY)[0], scratch(MEMORY)[0]
        body.spool_m = spool_m
        self.run.count_phase = first_counts - np.floor(spool_m * self.run.counts_per_m)
        set_up_memory(self.run, body, memory)
        assert memory.counts == first_counts
        memory.start_requested = 0
        return memory, float(memory.zero_counts) if memory.has_zero else None

    def misbehaving(self, seed: int, loops: int = 900) -> Story:
        """A story in which the routine commands a lift with bad manners."""
        rng = np.random.default_rng(seed)
        first = int(rng.integers(-5000, 5000))
        low_m, trip_m = max(self.setting.window_low_m, -0.05), self.setting.trip_m
        heights = [
            0.0,
            low_m + 0.001,
            trip_m * 0.9,
            trip_m + 0.15 * rng.random(),
            trip_m + 1.2 * rng.random(),
        ]
        start_m = max(float(rng.choice(heights)), 0.0)
        memory, zero = self.memory(first, start_m)
        window = np.array([low_m, trip_m, start_m])
        time_s, out = np.zeros(loops), np.zeros((loops, 6))
        reading, counts, start = (np.zeros(loops, dtype=np.int64) for _ in range(3))
        lived = misbehave(
            self.run, memory, self.table, seed, first, window, time_s, reading, counts, start, out
        )
        cut = slice(0, lived)
        return Story(0.0, first, zero, time_s[cut], reading[cut], counts[cut], start[cut], out[cut])

    def told(
        self,
        first: int,
        time_s: Floats,
        reading: Whole,
        counts: Whole,
        start: Whole,
        zero: float | None = None,
    ) -> Story:
        """A story with these inputs."""
        memory, known = self.memory(first)
        if zero is not None:
            memory.zero_counts, memory.has_zero, known = zero, 1, zero
        out = np.zeros((len(time_s), 6))
        tell(self.run, memory, self.table, time_s, reading, counts, start, out)
        return Story(0.0, first, known, time_s, reading, counts, start, out)

    def expected(self, story: Story) -> Floats:
        """What a program must give back, in the columns of ``export_harness``."""
        phase = story.kernel[:, PHASE].astype(int)
        known = story.kernel[:, KNOWN] == 1.0
        reasons = [self.reason_numbers[int(code)] for code in story.kernel[:, REASON]]
        height = np.where(known, 1000.0 * story.kernel[:, HEIGHT], np.nan)
        return np.column_stack(
            [phase, self.orders[phase], self.commands[phase], known, story.kernel[:, ZERO], height, reasons]
        )
