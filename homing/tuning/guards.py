"""The three guards, by rule: what the neediest healthy run takes, times a factor.

A longer guard never harms a healthy run and always lets a broken lift go on for longer, so no aim that
counts healthy runs could set it, and one that counts broken runs would cut it to the bone. The rule is that
of the trade: measure what healthy runs need, add room. The need is read off traces with the very counting
of the routine: time and counts since the phase was entered, time since the counts last changed.
"""

from __future__ import annotations

import math
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from homing.batches import Batch, batch
from homing.kernel.observe import FLICKER_COUNTS
from homing.lift import MM
from homing.results import Outcome, Trace
from homing.setting import Setting
from homing.simulate import traced
from homing.tuning.results import Guard
from homing.tuning.trials import gather, with_settings

Floats = NDArray[np.float64]

#: Room over what the neediest healthy run took. Common practice, no source: travel 1.1 to 1.2 times.
TIME_FACTOR, TRAVEL_FACTOR, MOTION_FACTOR = 1.5, 1.1, 1.5
#: Guards are rounded up to these steps: [s], [mm], [ms].
TIME_STEP_S, TRAVEL_STEP_MM, MOTION_STEP_MS = 0.5, 5.0, 10.0
#: Times that the need is measured again with the guards set.
ROUNDS = 3
#: Healthy runs whose traces are looked at.
TRACED_RUNS = 192
#: Parts into which they are cut, so that the cores share them.
SHARES = 4
#: While settings are searched: guards which stop no healthy run [travels], [ms], [loops]. Own choice; a lift
#: that stands longer than that under command is not wanted.
SEARCH_TRAVELS, SEARCH_MOTION_MS, SEARCH_MOTION_LOOPS = 3.0, 400.0, 10.0

TIME_OUT, TRAVEL, NO_MOTION = "timeout_s", "travel_guard_mm", "no_motion_ms"


@dataclass(frozen=True)
class Needs:
    """The most that any healthy run took: in a phase with that guard [s], [m], standing under command [s].

    ``runs`` counts the healthy runs looked at.
    """

    phase_s: float
    moved_m: float
    still_s: float
    runs: int


def generous(setting: Setting) -> dict[str, float]:
    """Guards for the time of the search; a phase longer than the whole may take has failed anyway."""
    lift = setting.lift
    guards = {
        TIME_OUT: lift.requirements.time_to_zero_s,
        TRAVEL: SEARCH_TRAVELS * lift.lift.travel_mm,
    }
    if not setting.table.told_by_standing:
        guards[NO_MOTION] = max(SEARCH_MOTION_MS, SEARCH_MOTION_LOOPS * lift.controller.period_ms)
    return guards


def guards_for(setting: Setting, pool: Executor) -> tuple[Guard, ...]:
    """Guards of a setting whose own guards are generous; none when no run was healthy.

    A shorter no-motion time changes what runs do that press against the upper stop, and so what they need
    afterwards: the need is measured again with the guards set, until it fits.
    """
    found = needs(setting, pool)
    if found.runs == 0:
        return ()
    guards = _by_rule(setting, found)
    for _ in range(ROUNDS):
        again = needs(with_settings(setting, values(guards)), pool)
        if again.runs < found.runs:
            # a run that was stopped needed more than it was given
            again = replace(again, still_s=max(again.still_s, setting.no_motion_s / MOTION_FACTOR))
        found = Needs(
            max(found.phase_s, again.phase_s),
            max(found.moved_m, again.moved_m),
            max(found.still_s, again.still_s),
            found.runs,
        )
        fitting, guards = guards, _by_rule(setting, found)
        if guards == fitting:
            break
    return guards


def _by_rule(setting: Setting, found: Needs) -> tuple[Guard, ...]:
    guards = [
        _guard(TIME_OUT, found.phase_s, TIME_FACTOR, TIME_STEP_S, "longest phase of a healthy run"),
        _guard(TRAVEL, found.moved_m / MM, TRAVEL_FACTOR, TRAVEL_STEP_MM, "longest move of a healthy run"),
    ]
    if not setting.table.told_by_standing:
        words = "longest standing of a healthy run while it was told to move"
        guards.append(_guard(NO_MOTION, found.still_s / MM, MOTION_FACTOR, MOTION_STEP_MS, words))
    return tuple(guards)


def values(guards: tuple[Guard, ...]) -> dict[str, float]:
    """The guards as settings."""
    return {guard.key: guard.value for guard in guards}


def needs(setting: Setting, pool: Executor) -> Needs:
    """What healthy runs took."""
    shares = np.array_split(np.arange(TRACED_RUNS, dtype=np.int64), SHARES)
    parts = gather(pool, [(_needs_of, (setting, share)) for share in shares])
    return Needs(
        max(part.phase_s for part in parts),
        max(part.moved_m for part in parts),
        max(part.still_s for part in parts),
        sum(part.runs for part in parts),
    )


def _needs_of(setting: Setting, indices: NDArray[np.int64]) -> Needs:
    guarded = _Guarded.of(setting)
    made = batch(setting, indices)
    phase_s, moved, still_s, healthy = 0.0, 0.0, 0.0, 0
    for k, index in enumerate(indices):
        run = traced(setting, _one(made, k), int(index))
        if run.outcome is not Outcome.ZEROED:
            continue
        healthy += 1
        for phase, first, last in _phases(run.trace):
            t, counts = run.trace["t_s"][first : last + 1], run.trace["counts"][first : last + 1]
            if phase in guarded.time:
                phase_s = max(phase_s, float(t[-1] - t[0]))
            if phase in guarded.travel:
                moved = max(moved, float(np.abs(counts - counts[0]).max()))
            if phase in guarded.motion or phase in guarded.standing_ends:
                still_s = max(still_s, _longest_standing(t, counts, last=phase in guarded.motion))
    return Needs(phase_s, moved / float(made.runs.counts_per_m[0]), still_s, healthy)


@dataclass(frozen=True)
class _Guarded:
    """Phases in which each guard is asked; where standing is no fault but ends the phase is told apart."""

    time: frozenset[str]
    travel: frozenset[str]
    motion: frozenset[str]
    standing_ends: frozenset[str]

    @classmethod
    def of(cls, setting: Setting) -> _Guarded:
        def asked(name: str, *, guard: bool) -> frozenset[str]:
            rows = setting.table.rows
            return frozenset(row.source for row in rows if row.guard is guard and name in row.when)

        return cls(
            asked("time_over", guard=True),
            asked("past_travel_guard", guard=True),
            asked("not_moving", guard=True),
            asked("not_moving", guard=False),
        )


def _one(made: Batch, k: int) -> Batch:
    """One run of a batch, as a batch of one."""
    rows = slice(k, k + 1)
    sensor = replace(made.sensor, signal=made.sensor.signal[rows])
    return Batch(made.runs[rows], sensor, made.indices[rows], made.start_kind[rows])


def _phases(trace: Trace) -> list[tuple[str, int, int]]:
    """Stretches of one phase: its name, the row in which it was entered, and its last row."""
    state = trace["state"]
    ends = [int(row) for row in np.flatnonzero(state[1:] != state[:-1])]
    return [
        (str(state[last]), first, last)
        for first, last in zip([0, *ends], [*ends, len(state) - 1], strict=True)
    ]


def _longest_standing(t: Floats, counts: NDArray[np.int64], *, last: bool) -> float:
    """Longest time without a change of counts [s], told as the routine tells it.

    ``last`` False leaves out the standing with which the stretch ends: there standing is what was waited
    for (the upper stop), while standing before it moves off is not.
    """
    longest, still, since = 0.0, int(counts[0]), float(t[0])
    standing = 0.0
    for now, count in zip(t.tolist(), counts.tolist(), strict=True):
        if abs(count - still) > FLICKER_COUNTS:
            longest, standing = max(longest, standing), 0.0
            still, since = count, now
        standing = now - since
    return max(longest, standing) if last else longest


def _guard(key: str, needed: float, factor: float, step: float, words: str) -> Guard:
    value = float(round(math.ceil(needed * factor / step - 1e-9) * step, 9))
    return Guard(key, needed, factor, max(value, step), words)
