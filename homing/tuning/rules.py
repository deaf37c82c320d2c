"""Which guards are set by rule, and what each measures: of the built-in sequence, and of an own table.

Of an own table these are the numbers of rows that lead from a phase that moves to a fault and ask for nothing
else: time, distance and standing. One way's distance is only ever raised: how far is too far to look for an
edge the team knows better, unless healthy runs need more. Where a row keeps the clocks of a phase running,
time and distance of a phase cannot be read off its stretch of the trace, and are left as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from homing.kernel.codes import Condition, Effect
from homing.tuning.groups import Group, groups

if TYPE_CHECKING:
    from homing.setting import Setting

#: Room over what the neediest healthy run took. Common practice, no source: travel 1.1 to 1.2 times.
TIME_FACTOR, TRAVEL_FACTOR, MOTION_FACTOR = 1.5, 1.1, 1.5
#: Least room of a distance of an own table [mm]: a tenth of a short move is nothing. Own choice.
LEAST_ROOM_MM = 10.0
#: Guards are rounded up to these steps: [s], [mm], [ms].
TIME_STEP_S, TRAVEL_STEP_MM, MOTION_STEP_MS = 0.5, 5.0, 10.0
#: While settings are searched: guards which stop no healthy run [travels], [ms], [loops]. Own choice; a lift
#: that stands longer than that under command is not wanted.
SEARCH_TRAVELS, SEARCH_MOTION_MS, SEARCH_MOTION_LOOPS = 3.0, 400.0, 10.0

TIME_OUT, TRAVEL, NO_MOTION = "timeout_s", "travel_guard_mm", "no_motion_ms"


class Measure(Enum):
    """What a guard is held against, within one phase."""

    TIME = "longest phase of a healthy run"
    EITHER_WAY = "longest move of a healthy run"
    OUT = "longest move out of a healthy run"
    IN = "longest move in of a healthy run"
    STANDING = "longest standing of a healthy run while it was told to move"


_OF = {
    Condition.TIMER_OVER: Measure.TIME,
    Condition.MOVED: Measure.EITHER_WAY,
    Condition.MOVED_OUT: Measure.OUT,
    Condition.MOVED_IN: Measure.IN,
    Condition.NOT_MOVING: Measure.STANDING,
}
_FACTOR = {Measure.TIME: TIME_FACTOR, Measure.STANDING: MOTION_FACTOR}
_STEP = {Measure.TIME: TIME_STEP_S, Measure.STANDING: MOTION_STEP_MS}
#: Units of the keys in SI.
_UNIT = {Measure.TIME: 1.0}
_THOUSANDTH = 1e-3


@dataclass(frozen=True)
class Rule:
    """One guard: its keys, what it measures, and in which phases.

    ``ends`` are phases which standing ends as it should; ``room`` is the least that is added [unit of the
    key]; ``raised_only``: what the file has stays, unless healthy runs need more.
    """

    key: str
    measure: Measure
    phases: frozenset[str]
    ends: frozenset[str] = frozenset()
    also: tuple[str, ...] = ()
    room: float = 0.0
    raised_only: bool = False

    @property
    def factor(self) -> float:
        return _FACTOR.get(self.measure, TRAVEL_FACTOR)

    @property
    def step(self) -> float:
        return _STEP.get(self.measure, TRAVEL_STEP_MM)

    @property
    def unit(self) -> float:
        """One unit of the key in SI."""
        return _UNIT.get(self.measure, _THOUSANDTH)

    def generous(self, setting: Setting) -> float:
        """A guard for the time of the search; a phase longer than the whole may take has failed anyway."""
        lift = setting.lift
        if self.measure is Measure.TIME:
            return lift.requirements.time_to_zero_s
        if self.measure is Measure.STANDING:
            return max(SEARCH_MOTION_MS, SEARCH_MOTION_LOOPS * lift.controller.period_ms)
        return SEARCH_TRAVELS * lift.lift.travel_mm


def rules(setting: Setting) -> tuple[Rule, ...]:
    """The guards that are set by rule on this lift."""
    if setting.lift.own_routine is not None:
        return tuple(_of_own(setting))
    found = [
        Rule(TIME_OUT, Measure.TIME, _asked(setting, "time_over", guard=True)),
        Rule(TRAVEL, Measure.EITHER_WAY, _asked(setting, "past_travel_guard", guard=True)),
    ]
    if not setting.table.told_by_standing:
        phases, ends = (_asked(setting, "not_moving", guard=guard) for guard in (True, False))
        found.append(Rule(NO_MOTION, Measure.STANDING, phases, ends))
    return tuple(found)


def _asked(setting: Setting, name: str, *, guard: bool) -> frozenset[str]:
    """Phases of the built-in table in which a condition is asked, by its guards or by the others."""
    rows = setting.table.rows
    return frozenset(row.source for row in rows if row.guard is guard and name in row.when)


def _of_own(setting: Setting) -> Iterator[Rule]:
    own = setting.lift.own_routine
    assert own is not None
    run_on = any(Effect.KEEP_CLOCKS in {each.effect for each in row.effects} for row in own.rows)
    for group in groups(own):
        if by_rule(group, run_on=run_on):
            measure = _OF[group.kind]  # type: ignore[index]
            yield Rule(
                group.key,
                measure,
                frozenset(number.phase.name for number in group.numbers if number.faults),
                frozenset(number.phase.name for number in group.numbers if not number.faults),
                group.also,
                room=0.0 if measure in (Measure.TIME, Measure.STANDING) else LEAST_ROOM_MM,
                raised_only=measure in (Measure.OUT, Measure.IN),
            )


def by_rule(group: Group, *, run_on: bool) -> bool:
    """Whether a group of numbers is a guard that a rule can set."""
    measure = _OF.get(group.kind)  # type: ignore[arg-type]
    if measure is None or not group.moves:
        return False
    if not all(number.alone for number in group.numbers if number.faults):
        return False
    if measure is Measure.STANDING:
        # where standing ends a way in, it is what the search moves
        return not any(number.ends_way_in for number in group.numbers)
    return group.guard and not run_on
