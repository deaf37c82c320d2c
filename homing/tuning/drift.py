"""How far each setting may stray, the others kept, before a requirement fails: found by trying.

Steps outward first, each farther than the last, so that the nearest failure is the one found; then
bisection between the last value that held and the first that did not. All on the same fresh runs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from homing.tuning.knob import rounded
from homing.tuning.margins import worst_margin
from homing.tuning.results import Drift, Side
from homing.tuning.settings import is_counted
from homing.tuning.trials import OWN_RUNS, Trials

if TYPE_CHECKING:
    from homing.setting import Setting

#: Runs of one step.
DRIFT_RUNS = 256
#: Ratios to the setting that are tried outwards, either way; the last is as far as is looked. Own choice.
RATIOS = (1.25, 2.0, 3.0)
#: Halvings between what held and what did not: a few per cent of the setting.
HALVINGS = 3
#: Finest step in which a whole number can stray.
WHOLE = 1.0
#: What keys of a duty end in: a part of the battery voltage, which no more than the whole can be given.
DUTY = ".duty"


@dataclass
class _Way:
    """One setting moving one way."""

    key: str
    start: float
    up: bool
    whole: bool
    held: float
    also: tuple[tuple[str, float], ...] = ()
    failed: float | None = None
    blocks: str = ""

    def settings(self, value: float) -> dict[str, float]:
        """The setting at a value, with those that go with it in their ratio to it."""
        return {self.key: value, **{key: value * ratio for key, ratio in self.also}}

    def outward(self, ratio: float) -> float:
        value = self.start * ratio if self.up else self.start / ratio
        if self.key.endswith(DUTY):
            return max(-1.0, min(value, 1.0))
        if not self.whole:
            return value
        steps = RATIOS.index(ratio) + 1
        return max(self.start + WHOLE * steps * (1 if self.up else -1), 1.0)

    def middle(self) -> float:
        assert self.failed is not None
        middle = 0.5 * (self.held + self.failed)
        return rounded(middle, WHOLE) if self.whole else middle

    def note(self, value: float, blocks: str) -> None:
        if blocks:
            self.failed, self.blocks = value, blocks
        else:
            self.held = value


def drifts(
    setting: Setting, groups: Sequence[tuple[str, ...]], settings: Mapping[str, float], pool: Executor
) -> tuple[Drift, ...]:
    """Drift of every setting.

    Parameters
    ----------
    setting : Setting
        The lift with its settings as they are, and the seed of the runs.
    groups : sequence of tuple of str
        Keys that are one setting, its own first.
    settings : mapping
        The settings to move, one at a time.
    """
    trials = Trials(setting, (), np.arange(DRIFT_RUNS, dtype=np.int64), pool, fixed=())
    ways = [
        _way(setting, group, settings, up=up)
        for group in groups
        if settings[group[0]] != 0.0
        for up in (False, True)
    ]
    for ratio in RATIOS:
        _try(trials, {id(way): way.outward(ratio) for way in ways if way.failed is None}, ways)
    for _ in range(HALVINGS):
        _try(trials, {id(way): way.middle() for way in ways if way.failed is not None}, ways)
    found = {(way.key, way.up): Side(way.held, way.blocks) for way in ways}
    return tuple(
        Drift(key, settings[key], found[key, False], found[key, True])
        for key, *_ in groups
        if (key, True) in found
    )


def _way(setting: Setting, group: tuple[str, ...], settings: Mapping[str, float], *, up: bool) -> _Way:
    key, value = group[0], settings[group[0]]
    also = tuple((other, settings[other] / value) for other in group[1:])
    return _Way(key, value, up, is_counted(setting.lift, key), value, also)


def _try(trials: Trials, values: Mapping[int, float], ways: list[_Way]) -> None:
    """Try one value on each of some ways, all at once so that the cores are busy."""
    moving = [way for way in ways if id(way) in values and values[id(way)] not in (way.held, way.failed)]
    allowed = trials.setting.lift.requirements.allowed_failure_rate
    changes = [way.settings(values[id(way)]) for way in moving]
    judged = trials.judged(changes)
    for way, change, (results, _) in zip(moving, changes, judged, strict=True):
        margin, name = worst_margin(trials.with_own(change, results, OWN_RUNS), allowed)
        way.note(values[id(way)], name if margin < 0.0 else "")
