"""Logs made for tests: a lift that goes up and down, written in any dialect."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[2]
#: Third-party and practice data lie beside the checkout, never in it.
DATASETS = ROOT.parent / "shared" / "datasets"

needs_datasets = pytest.mark.skipif(
    not DATASETS.is_dir(), reason="the data sets are not beside this checkout (../shared/datasets)"
)


@dataclass(frozen=True)
class Story:
    """Stamps [ms] and counts of an invented lift."""

    t_ms: NDArray[np.int64]
    counts: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.t_ms)

    def with_stamps(self, t_ms: NDArray[np.int64]) -> Story:
        return replace(self, t_ms=t_ms)

    def with_counts(self, counts: NDArray[np.int64]) -> Story:
        return replace(self, counts=counts)

    def without(self, rows: slice) -> Story:
        keep = np.ones(len(self), dtype=bool)
        keep[rows] = False
        return Story(self.t_ms[keep], self.counts[keep])

    def text(self) -> str:
        lines = [f"{t},{c}" for t, c in zip(self.t_ms, self.counts, strict=True)]
        return "t_ms,counts\n" + "\n".join(lines) + "\n"


def up_and_down(rows: int = 400, period_ms: int = 20, speed: int = 30) -> Story:
    """A lift at rest, out at ``speed`` counts a row, at rest, back in and at rest again; soft starts."""
    fifth = rows // 5
    ramp = np.concatenate([np.arange(0, speed, 3), np.full(fifth - 2 * len(range(0, speed, 3)), speed)])
    move = np.concatenate([ramp, np.arange(0, speed, 3)[::-1]])
    rest = np.zeros(fifth, dtype=np.int64)
    steps = np.concatenate([rest, move, rest, -move, np.zeros(rows - 3 * fifth - len(move), dtype=np.int64)])
    steps = steps[:rows]
    return Story(np.arange(rows, dtype=np.int64) * period_ms + 3000, np.cumsum(steps))


def write(folder: Path, text: str, name: str = "log.csv") -> Path:
    """Write a text as it stands, line ends included."""
    path = folder / name
    path.write_bytes(text.encode("utf-8"))
    return path


def rows_of(log: Any, kind: Any) -> list[int]:
    """All rows of one kind of defect."""
    return [row for each in log.defects if each.kind is kind for row in each.rows]
