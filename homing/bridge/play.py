"""Runs with the team's controller: several at once, so that lift and controllers work side by side.

While one controller thinks about its loop, the lift of another is carried on. Which run is played in which
seat changes no number: a controller is reset before each, and the lift's numbers come from its run alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from homing.batches import Batch
from homing.bridge.controller import Seat
from homing.bridge.protocol import Answer, Rules, message
from homing.kernel.codes import Order
from homing.kernel.layout import (
    BODY,
    CLOCK,
    MEMORY,
    PENDING,
    RESULT_COLUMNS,
    RUN,
    SENSE,
    TRACE_COLUMNS,
    WATCH,
    new_scratch,
)
from homing.kernel.lockstep import HEARD, begin, declare_zero, end, obey, obey_and_tick, tick
from homing.kernel.record import conclude, trace_row
from homing.setting import Setting
from homing.settings import stop_order
from homing.words import CommandKind

Floats = NDArray[np.float64]

#: Reasons of a program are numbered from here, in the order in which they were first given.
FIRST_REASON = 1000
#: Nothing waits in the part of the table that a phase would have.
_NO_PHASE = 0


def _quick(kernel: Any) -> Any:
    """The compiled form of a kernel that was compiled once: asking for the types in each loop costs more."""
    forms = getattr(kernel, "overloads", None)  # none without compilation
    return next(iter(forms.values())).entry_point if forms and len(forms) == 1 else kernel


def _array_of_one(record: Any, dtype: np.dtype[Any]) -> Any:
    """A record of its own as the kernels take it; without compilation its fields must be attributes."""
    array = np.array(record, dtype=dtype).reshape(1)
    return array if hasattr(tick, "overloads") else array.view(np.recarray)


def rules_for(setting: Setting, who: str) -> Rules:
    """What answers may be on this lift."""
    duty = setting.lift.drive.command is CommandKind.DUTY
    return Rules(who, Order.DUTY if duty else Order.SPEED, hold_allowed=not duty)


@dataclass
class Game:
    """One run being played: its records, and what its controller last said."""

    setting: Setting
    run: Any
    curve: Floats
    index: int
    reasons: dict[str, int]
    periods_s: Floats
    traced: bool = False
    states: list[str] = field(default_factory=list)
    rows: list[Floats] = field(default_factory=list)

    def __post_init__(self) -> None:
        parts = [records[0] for records in new_scratch(self.setting.error_share)]
        self.game = tuple(map(_array_of_one, (self.run, *parts), (RUN, BODY, SENSE, MEMORY, WATCH, CLOCK)))
        self.run, *parts = (each[0] for each in self.game)
        self.parts, self.ended = tuple(parts), False
        self._obey_and_tick = obey_and_tick
        self.orders = (np.zeros(PENDING, dtype=np.int64), np.zeros(PENDING))
        self.heard = np.zeros(HEARD)
        stop = int(stop_order(self.setting.lift.routine.stop))
        begin(self.run, self.parts, self.curve, self.orders, stop, self.setting.seed, self.index)

    def hear(self) -> bytes | None:
        """Live through one period; the line for the controller, or None when the run is over."""
        setting = self.setting
        tick(
            self.run, self.parts, self.periods_s, self.orders, setting.no_motion_s,
            setting.seed, self.index, self.heard,
        )  # fmt: skip
        return self._line()

    def go_on(self, answer: Answer) -> bytes | None:
        """Let an answer take effect and hear the next loop."""
        said_once = answer.zero_at_counts is not None or (answer.ends and not self.ended)
        if self.traced or said_once:
            self.obey(answer)
            return self.hear()
        setting = self.setting
        self._obey_and_tick(
            self.game, self.periods_s, self.orders, setting.no_motion_s,
            setting.seed, self.index, self.heard, int(answer.order), answer.value,
        )  # fmt: skip
        if self._obey_and_tick is obey_and_tick:
            self._obey_and_tick = _quick(obey_and_tick)
        return self._line()

    def _line(self) -> bytes | None:
        t_s, made, counts, battery_v, current_a, running = self.heard.tolist()
        if running == 0.0:
            return None
        reading = f'{{"{self.setting.lift.routine.sensor}":{"true" if made else "false"}}}'
        return message(t_s, reading, int(counts), battery_v, current_a)

    def obey(self, answer: Answer) -> None:
        """Let the answer of this loop take effect."""
        if self.traced:
            self._note(answer.state)
        if answer.zero_at_counts is not None:
            declare_zero(self.run, self.parts, answer.zero_at_counts)
        obey(self.run, self.parts, self.orders, int(answer.order), answer.value)
        if answer.fault is not None:
            end(self.parts, False, self.reasons.setdefault(answer.fault, FIRST_REASON + len(self.reasons)))
        elif answer.done:
            end(self.parts, True, 0)
        self.ended |= answer.ends

    def conclude(self) -> Floats:
        """Result row of the run, (columns,)."""
        result = np.empty(len(RESULT_COLUMNS))
        conclude(self.run, self.parts, result)
        return result

    @property
    def stops(self) -> Floats:
        """Rows of the inward stops so far, (MAX_STOPS, STOP_COLUMNS)."""
        _, _, _, watch, _ = self.parts
        return np.array(watch["stop_rows"])

    def _note(self, state: str) -> None:
        row = np.zeros(len(TRACE_COLUMNS))
        body, sense, memory, _, _ = self.parts
        trace_row(self.run, body, sense, memory, row, _NO_PHASE)
        self.rows.append(row)
        self.states.append(state)


def play_batch(
    setting: Setting, made: Batch, seats: list[Seat], rules: Rules, reasons: dict[str, int]
) -> Floats:
    """Play all runs of a batch in the seats there are; returns result rows (n, columns) in SI.

    Parameters
    ----------
    reasons : dict
        Reasons given so far and their numbers; new ones are added.
    """
    results = np.empty((len(made.indices), len(RESULT_COLUMNS)))
    numbers = iter(range(len(made.indices)))
    tables = [table for seat in seats if (table := _sit_down(setting, made, numbers, seat, reasons))]
    while tables:
        tables = [
            table for table in tables if _one_loop(setting, made, numbers, table, rules, reasons, results)
        ]
    for seat in seats:
        seat.rest()
    return results


@dataclass
class _Table:
    """A seat with the run that is played in it."""

    seat: Seat
    number: int
    game: Game


def _sit_down(
    setting: Setting, made: Batch, numbers: Iterator[int], seat: Seat, reasons: dict[str, int]
) -> _Table | None:
    """Begin the next run in a seat and tell its first loop; None when there is no further run."""
    number = next(numbers, None)
    if number is None:
        return None
    index = int(made.indices[number])
    game = Game(setting, made.runs[number], made.sensor.signal[number], index, reasons, setting.periods_s)
    seat.reset(index)
    first = game.hear()
    assert first is not None  # a run is longer than a loop
    seat.tell(first)
    return _Table(seat, number, game)


def _one_loop(
    setting: Setting, made: Batch, numbers: Iterator[int], table: _Table, rules: Rules,
    reasons: dict[str, int], results: Floats,
) -> bool:  # fmt: skip
    """Take the answer that a seat owes and tell it the next loop; False when it has no run left."""
    line = table.game.go_on(table.seat.answer(rules))
    if line is not None:
        table.seat.tell(line)
        return True
    results[table.number] = table.game.conclude()
    following = _sit_down(setting, made, numbers, table.seat, reasons)
    if following is None:
        return False
    table.number, table.game = following.number, following.game
    return True
