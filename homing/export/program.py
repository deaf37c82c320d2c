"""A routine ready to be written in any language: names, numbers with their origin, rows, header.

::

    Setting (lift, table)  ->  Program (this file)  ->  template of the language  ->  program text
                                   neutral.py: what conditions and effects do
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from homing.batches import nominal_batch
from homing.export.builtin_origins import ask_note, command_note
from homing.export.identifiers import Names
from homing.export.items import ConditionItem, Constant, PhaseItem, Program, ReasonItem, RowItem
from homing.export.meanings import CONDITION_MEANS, EFFECT_MEANS, has_number, measure_of
from homing.export.neutral import CONDITIONS, EFFECTS, SHARED, USE_START
from homing.export.origins import counts_per_mm, given_or_assumed, reference, tidy
from homing.kernel.codes import Condition, Effect, Mode, Order, Reason
from homing.kernel.controller import duty_for
from homing.kernel.observe import FLICKER_COUNTS, LONG_LOOP
from homing.lift import MM
from homing.routine import FIRST_OWN_REASON, Ask, Phase, Role, Row, Table

if TYPE_CHECKING:
    from homing.setting import Setting

#: Names that the programs use themselves beside those of the table.
LOCALS = (
    "phase",
    "order",
    "role",
    "reason",
    "routine",
    "output",
    "step",
    "reset",
    "enter",
    "note",
    "restart",
)
_FLICKER = "[counts] own choice: counts that flicker by so much still stand"
PARAMETERS = ("time_s", "reading", "counts", "start", "next", "zero_counts", "keep_clocks", "self")


def program(setting: Setting) -> Program:
    """Make the program of a setting's table."""
    return _Making(setting).program()


def sent(record: Any, phase: Phase) -> tuple[Order, float]:
    """What a phase sends to the drive, in mm/s or as a duty: a lift that obeys duties gets that of a speed.

    Parameters
    ----------
    record : record ``RUN``
        The nominal lift.
    phase : Phase
    """
    order, value = phase.command.order, phase.command.value
    if order is Order.SPEED and record.command == Mode.DUTY:
        return Order.DUTY, min(max(float(duty_for(record, value)), -1.0), 1.0)
    return order, tidy(value / MM) if order is Order.SPEED else value


class _Making:
    """The names of one program while it is made."""

    def __init__(self, setting: Setting) -> None:
        self.setting, self.table = setting, setting.table
        self.record = nominal_batch(setting).runs[0]
        self.stall = bool(self.record.stall_sensor)
        constants = Names(["counts_per_m", "reference_m", "long_loop_s", "no_motion_s", "flicker_counts"])
        local = Names([*LOCALS, *PARAMETERS, *SHARED])
        phases, reasons = Names(), Names(["none"])
        self.asked = tuple(ask for ask in self.table.conditions if _is_asked(self.table, ask))
        self.locals = {ask.name: local.give(ask.name) for ask in self.asked}
        self.numbers = {
            ask.name: constants.give(_constant_name(ask)) for ask in self.asked if has_number(ask.kind)
        }
        self.phases = {phase.name: phases.give(phase.name) for phase in self.table.phases}
        faulted = {phase.name for phase in self.table.phases if phase.role is Role.FAULTED}
        codes = dict.fromkeys(self.table.reason_code(row) for row in self.table.rows if row.to in faulted)
        self.reasons = {code: reasons.give(_reason_name(code)) for code in codes if code != 0}
        self.faulted = faulted

    def program(self) -> Program:
        texts = " ".join(CONDITIONS[ask.kind] for ask in self.asked)
        return Program(
            constants=(*self._fixed(), *(self._constant(ask) for ask in self.asked if has_number(ask.kind))),
            phases=tuple(map(self._phase, self.table.phases)),
            shared=tuple((name, text) for name, text in SHARED.items() if name in texts),
            conditions=tuple(map(self._condition, self.asked)),
            reasons=(
                ReasonItem(("none",), ""),
                *(ReasonItem(words, self.table.reason_text(code)) for code, words in self.reasons.items()),
            ),
            stall=self.stall,
            period_ms=tidy(float(self.record.period_s) / MM),
        )

    def _fixed(self) -> tuple[Constant, ...]:
        """Constants of the controller."""
        lift, period_s = self.setting.lift, float(self.record.period_s)
        scale, height = counts_per_mm(self.setting), reference(self.setting)
        period = given_or_assumed(lift, "controller.period_ms", lift.controller.period_ms)
        made = [
            _real("counts_per_m", float(self.record.counts_per_m), "counts/m", scale.source),
            _real("reference_m", float(self.record.reference_m), "m", f"{height.key}, {height.source}"),
            _real(
                "long_loop_s", LONG_LOOP * period_s, "s",
                f"{LONG_LOOP:g} periods of {period.value:g} ms, controller.period_ms, {period.origin_words}",
            ),
            Constant(("flicker", "counts"), str(FLICKER_COUNTS), True, _FLICKER),
        ]  # fmt: skip
        if self.stall:
            note = ask_note(lift, "not_moving")
            made.append(_real("no_motion_s", float(self.setting.no_motion_s), "s", note.words))
        return tuple(made)

    def _constant(self, ask: Ask) -> Constant:
        measure = measure_of(ask.kind)
        note = ask_note(self.setting.lift, ask.name)
        shown = f"{tidy(ask.a / measure.scale):g} {measure.shown}, " if measure.scale != 1.0 else ""
        return Constant(
            self.numbers[ask.name], repr(float(ask.a)), False, f"[{measure.unit}] {shown}{note.words}"
        )

    def _condition(self, ask: Ask) -> ConditionItem:
        return ConditionItem(
            self.locals[ask.name], CONDITIONS[ask.kind], self.numbers.get(ask.name), CONDITION_MEANS[ask.kind]
        )

    def _phase(self, phase: Phase) -> PhaseItem:
        order, command = sent(self.record, phase)
        comment = phase.why or phase.name
        if phase.command.order in (Order.SPEED, Order.DUTY):
            comment += f" [{self._unit(phase, order)}; {command_note(self.setting.lift, phase.name).words}]"
        return PhaseItem(
            words=self.phases[phase.name],
            text=phase.name,
            role=phase.role,
            order=order,
            command=command,
            way=phase.command.way if phase.command.order in (Order.SPEED, Order.DUTY) else 0,
            comment=comment,
            rows=tuple(map(self._row, self.table.rows_of(phase.name))),
        )

    def _unit(self, phase: Phase, order: Order) -> str:
        if order is Order.SPEED:
            return "mm/s"
        if phase.command.order is Order.DUTY:
            return "share of the battery voltage"
        speed = tidy(phase.command.value / MM)
        return f"share of the battery voltage for {speed:g} mm/s at the nominal load"

    def _row(self, row: Row) -> RowItem:
        texts = [EFFECTS[effect] for effect in EFFECTS if effect in row.effects]
        if any(self.table.condition(name).kind is Condition.START for name in row.when):
            texts.append(USE_START)
        faults = row.to in self.faulted
        code = self.table.reason_code(row)
        does = "; ".join(EFFECT_MEANS[effect] for effect in Effect if effect in row.effects)
        return RowItem(
            when=tuple(self.locals[name] for name in row.when),
            unless=tuple(self.locals[name] for name in row.unless),
            effects=tuple(texts),
            reason=self.reasons.get(code, ("none",)) if faults else None,
            to=self.phases[row.to],
            keep_clocks=Effect.KEEP_CLOCKS in row.effects,
            comment=f"{row.why} ({does})" if does and row.why else row.why or does or "as the table says",
        )


def _is_asked(table: Table, ask: Ask) -> bool:
    return any(ask.name in (*row.when, *row.unless) for row in table.rows)


def _constant_name(ask: Ask) -> str:
    return f"{ask.name}_{measure_of(ask.kind).suffix}".rstrip("_")


def _reason_name(code: int) -> str:
    return f"row_{code - FIRST_OWN_REASON + 1}" if code >= FIRST_OWN_REASON else Reason(code).name


def _real(name: str, value: float, unit: str, source: str) -> Constant:
    return Constant(tuple(name.split("_")), repr(value), False, f"[{unit}] {source}")
