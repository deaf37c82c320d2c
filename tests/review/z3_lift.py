"""The abstract lift written a second time, as constraints for an SMT solver: bounded model checking.

Source of the method: bounded model checking as in A. Biere and others, "Symbolic model checking without
BDDs", 1999 (from memory): unroll the transition relation k times and ask whether a state can be met in
step k. Solver: Z3 (package z3-solver). Written from what the modules say, sharing no code of the
exploration but the numbers of the zones; one speed, and of the conditions those in ``random_small_tables``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import z3

from homing.kernel.codes import Condition, Effect
from homing.review.cells import AbstractLift
from homing.routine import Table

C = Condition


@dataclass
class Step:
    """Variables of one step."""

    phase: Any
    cell: Any
    way: Any
    left: Any
    latch: Any
    run: Any
    zero: Any
    asked: Any


def step_named(k: int) -> Step:
    names = ("phase", "cell", "way", "left", "latch", "run")
    return Step(*(z3.Int(f"{name}_{k}") for name in names), z3.Bool(f"zero_{k}"), z3.Bool(f"asked_{k}"))


class Unrolled:
    """A table against the abstract lift, unrolled step by step."""

    def __init__(self, table: Table, lift: AbstractLift, speed_m_s: float, chatter: bool) -> None:
        self.table, self.lift, self.speed, self.chatter = table, lift, speed_m_s, chatter
        self.low = [cell.low_m for cell in lift.cells]
        self.high = [cell.high_m for cell in lift.cells]
        self.solver = z3.Solver()
        self.steps = [step_named(0)]
        self.solver.add(self._start(self.steps[0]))

    def first_met(self, phase: str, most: int) -> int | None:
        """Smallest step in which the phase can be met; None if in none up to ``most``."""
        for k in range(most + 1):
            while len(self.steps) <= k:
                self.steps.append(step_named(len(self.steps)))
                self.solver.add(self._loop(self.steps[-2], self.steps[-1], len(self.steps) - 1))
            self.solver.push()
            self.solver.add(self.steps[k].phase == self.table.phase_index(phase))
            met = self.solver.check() == z3.sat
            self.solver.pop()
            if met:
                return k
        return None

    def _stop(self) -> int:
        return next(
            i for i, (low, high) in enumerate(zip(self.low, self.high, strict=True)) if low < 0 < high
        )

    def _start(self, s: Step) -> Any:
        top = len(self.low) - 1
        return z3.And(
            s.phase == 0, s.cell >= self._stop(), s.cell <= top, s.way == 0, s.left == 0, s.run == 0, s.asked,
            self._sensor(s.cell, s.latch, None),
        )  # fmt: skip

    def _sensor(self, cell: Any, latch: Any, before: Any) -> Any:
        """What the sensor really says at a zone; the carriage never goes below the stop."""
        said = []
        for i, each in enumerate(self.lift.cells):
            sees = self.lift.cells[max(i, self._stop())].sees
            if sees >= 0:
                value = latch == sees
            else:
                value = z3.Or(latch == 0, latch == 1) if before is None else latch == before
            assert each is not None
            said.append(z3.Implies(cell == i, value))
        return z3.And(said)

    def _moves_to(self, a: Any, b: Any, way: int, far_m: float) -> Any:
        """Zone ``b`` holds a place at most so far on from some place in zone ``a``."""
        pairs = []
        for i in range(len(self.low)):
            for j in range(len(self.low)):
                gap = self.low[i] - self.high[j] if way < 0 else self.low[j] - self.high[i]
                onward = j <= i if way < 0 else j >= i
                if onward and gap < far_m:
                    pairs.append(z3.And(a == i, b == j))
        return z3.Or(pairs)

    def _motion(self, told: int, s: Step, n: Step) -> Any:
        top = len(self.low) - 1
        stay = z3.And(n.cell == s.cell, n.way == 0, n.left == 0)
        if told > 0:
            blocked: Any = s.cell == top
        else:
            blocked = z3.BoolVal(False)
        step_m = self.lift.step_m(self.speed, late=False)
        stop_m = self.lift.numbers.stopping_m(self.speed)
        runs_on = []
        for way in (-1, 1):
            if way == told:
                continue
            at_end = n.cell == top if way > 0 else z3.BoolVal(False)
            ends = z3.And(n.way == 0, n.left == 0)
            goes = z3.And(n.way == way, n.left == 1, z3.Not(at_end))
            far = z3.And(s.left == 2, self._moves_to(s.cell, n.cell, way, stop_m), z3.Or(ends, goes))
            runs_on.append(z3.And(s.way == way, z3.Or(far, z3.And(s.left == 1, stay))))
        if told == 0:
            return z3.Or(z3.And(s.way == 0, stay), *runs_on)
        arrived = n.cell == top if told > 0 else z3.BoolVal(False)
        driven = z3.If(arrived, z3.And(n.way == 0, n.left == 0), z3.And(n.way == told, n.left == 2))
        onward = z3.And(
            z3.Or(s.way == 0, s.way == told),
            z3.Or(z3.And(self._moves_to(s.cell, n.cell, told, step_m), driven), z3.And(s.way == 0, stay)),
        )
        return z3.If(blocked, stay, z3.Or(onward, *runs_on))

    def _loop(self, s: Step, n: Step, k: int) -> Any:
        reading = z3.Bool(f"reading_{k}")
        truth = z3.BoolVal(True) if self.chatter else reading == (n.latch == 1)
        run = z3.If(
            reading,
            z3.If(s.run > 0, z3.If(s.run >= 2, 2, s.run + 1), 1),
            z3.If(s.run < 0, z3.If(s.run <= -2, -2, s.run - 1), -1),
        )
        parts = [self._sensor(n.cell, n.latch, s.latch), truth, n.run == run]
        for number, phase in enumerate(self.table.phases):
            here = z3.And(self._motion(phase.command.way, s, n), self._rows(number, s, n, k))
            parts.append(z3.Implies(s.phase == number, here))
        parts.append(z3.And(s.phase >= 0, s.phase < len(self.table.phases)))
        return z3.And(parts)

    def _rows(self, number: int, s: Step, n: Step, k: int) -> Any:
        phase = self.table.phases[number]
        known, rules = self._conditions(phase.command.way, s, n, k)
        kept = z3.And(n.phase == number, n.zero == s.zero, n.asked == s.asked)
        answer: Any = kept
        for row in reversed(self.table.rows_of(phase.name)):
            holds = z3.And([known[name] for name in row.when] + [z3.Not(known[name]) for name in row.unless])
            starts = any(self.table.condition(name).kind == C.START for name in row.when)
            sets = bool({Effect.ZERO_HERE, Effect.SET_ZERO} & set(row.effects))
            zero = n.zero == (z3.BoolVal(True) if sets else s.zero)
            asked = n.asked == (z3.BoolVal(False) if starts else s.asked)
            answer = z3.If(holds, z3.And(n.phase == self.table.phase_index(row.to), zero, asked), answer)
        return z3.And(*rules, answer)

    def _conditions(self, told: int, s: Step, n: Step, k: int) -> tuple[dict[str, Any], list[Any]]:
        still = z3.And(s.way == 0, n.way == 0, n.cell == s.cell)
        running_on = z3.And(n.way != 0, n.way != told)
        known: dict[str, Any] = {}
        rules: list[Any] = []
        for ask in self.table.conditions:
            free = z3.Bool(f"{ask.name}_{k}")
            if ask.kind == C.TIMER_OVER:
                rules.append(z3.Implies(running_on, z3.Not(free)))
            elif ask.kind == C.STANDSTILL:
                rules.append(z3.Implies(free, still))
            meaning = {
                C.START: s.asked,
                C.MADE: n.run > 0,
                C.MADE_RUN: n.run >= 2,
                C.CLEAR_RUN: n.run <= -int(ask.a),
                C.JUST_MADE: n.run == 1,
                C.JUST_RELEASED: z3.And(n.run == -1, s.run > 0),
                C.REFERENCED: s.zero,
            }
            known[ask.name] = meaning.get(ask.kind, free)
        return known, rules
