"""Settings and routine for people and scripts: a readable table, and the same as JSON.

The routine in the JSON is written like an own table in a lift file, with the closed set's words.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from homing.batches import nominal_batch
from homing.export.builtin_origins import ask_note, command_note
from homing.export.header import export_cautions, use
from homing.export.meanings import CONDITION_MEANS, EFFECT_MEANS, EFFECT_WORD, WORD_OF, has_number, measure_of
from homing.export.origins import settings, tidy, unit_of
from homing.export.program import sent
from homing.kernel.codes import Order, Reason
from homing.lift import MM
from homing.report.diagram import command_words
from homing.report.jsonform import program_version
from homing.report.numbers import setting as shown

if TYPE_CHECKING:
    from homing.routine import Ask, Phase, Row
    from homing.setting import Setting

WIDTH = 100
_BEGIN = "At power-up the routine begins with time and counts of that moment."


def table_text(setting: Setting) -> str:
    """Settings with unit and origin, the routine in words, how to call it, and the cautions."""
    lift = setting.lift
    parts = [
        _wrapped(f"{lift.name} ({lift.source}), written by downstop {program_version()}", ""),
        "Settings\n" + "\n".join(_setting_lines(setting)),
        "Numbers of the routine\n" + "\n".join(_ask_lines(setting)),
        "Routine: in every loop the first row of the phase whose conditions hold is taken",
        *_phase_blocks(setting),
        "On the robot\n" + "\n".join(_wrapped(each, "  ") for each in use(setting, _BEGIN)),
        "Cautions\n" + "\n".join(_wrapped(each, "  - ") for each in export_cautions(setting)),
    ]
    return "\n\n".join(parts) + "\n"


def json_document(setting: Setting) -> dict[str, Any]:
    """The same as plain Python values."""
    table, lift = setting.table, setting.lift
    return {
        "downstop": program_version(),
        "command": "export",
        "lift": lift.name,
        "source": lift.source,
        "settings": [
            {
                "key": each.key,
                "value": each.value,
                "unit": each.unit or None,
                "origin": each.origin.value,
                "source": each.source,
            }
            for each in settings(setting)
        ],
        "routine": {
            "phase": [_phase_json(setting, phase) for phase in table.phases],
            "condition": [_ask_json(setting, ask) for ask in table.conditions],
            "row": [_row_json(setting, row) for row in table.rows],
            "told_by_standing": table.told_by_standing,
        },
        "use": list(use(setting, _BEGIN)),
        "cautions": list(export_cautions(setting)),
    }


def _setting_lines(setting: Setting) -> Iterator[str]:
    rows = [(each.key, f"{shown(each.value)} {each.unit}".rstrip(), each) for each in settings(setting)]
    wide, far = max(len(row[0]) for row in rows), max(len(row[1]) for row in rows)
    for key, value, each in rows:
        yield _wrapped(each.origin_words, f"  {key:<{wide}}  {value:<{far}}  ")


def _ask_lines(setting: Setting) -> Iterator[str]:
    asks = [ask for ask in setting.table.conditions if has_number(ask.kind)]
    if not asks:
        yield "  none"
        return
    rows = [(_spaced(ask.name), _number(ask), ask) for ask in asks]
    wide, far = max(len(row[0]) for row in rows), max(len(row[1]) for row in rows)
    for name, number, ask in rows:
        text = f"{CONDITION_MEANS[ask.kind]}; {ask_note(setting.lift, ask.name).words}"
        yield _wrapped(text, f"  {name:<{wide}}  {number:<{far}}  ")


def _phase_blocks(setting: Setting) -> Iterator[str]:
    table = setting.table
    numbered = tuple(enumerate(table.rows, 1))
    for phase in table.phases:
        words = f"{_spaced(phase.name)} ({phase.role.value}; {_told(setting, phase)})"
        lines = [_wrapped(words, "", 4), *([_wrapped(phase.why, "  ")] if phase.why else [])]
        lines += [_row_line(setting, row, number) for number, row in numbered if row.source == phase.name]
        yield "\n".join(lines)


def _told(setting: Setting, phase: Phase) -> str:
    """What the drive is told in a phase, with the origin of its number."""
    words = command_words(phase.command)
    order, value = sent(nominal_batch(setting).runs[0], phase)
    if order is Order.DUTY and phase.command.order is Order.SPEED:
        words += f", sent as duty {value:.4g}, that of the speed at the nominal load"
    if phase.command.order in (Order.SPEED, Order.DUTY):
        words += f"; {command_note(setting.lift, phase.name).words}"
    return words


def _row_line(setting: Setting, row: Row, number: int) -> str:
    holds = " and ".join(_spaced(name) for name in row.when) or "always"
    barred = f", unless {' or '.join(_spaced(name) for name in row.unless)}" if row.unless else ""
    does = f"; {', '.join(EFFECT_MEANS[effect] for effect in row.effects)}" if row.effects else ""
    said = _reason(setting, row)
    why = " ".join(each for each in (f"[{said}]" if said else "", f"({row.why})" if row.why else "") if each)
    return _wrapped(f"when {holds}{barred}{does} {why}".rstrip(), f"  {number:>3} -> {_spaced(row.to)}: ", 12)


def _phase_json(setting: Setting, phase: Phase) -> dict[str, Any]:
    order, value = sent(nominal_batch(setting).runs[0], phase)
    note = command_note(setting.lift, phase.name)
    moves = phase.command.order in (Order.SPEED, Order.DUTY)
    return {
        "name": phase.name,
        "role": phase.role.value,
        "command": _command_json(phase.command.order, tidy(phase.command.value / MM), phase.command.value),
        "sent": _command_json(order, value, value),
        "origin": note.origin.value if moves else None,
        "source": note.words if moves else None,
        "why": phase.why,
    }


def _command_json(order: Order, speed_mm_s: float, duty: float) -> dict[str, Any]:
    """A command as an own table writes it."""
    if order is Order.SPEED:
        return {"speed_mm_s": speed_mm_s}
    return {"duty": duty} if order is Order.DUTY else {"stop": order.name.lower()}


def _ask_json(setting: Setting, ask: Ask) -> dict[str, Any]:
    word = WORD_OF[ask.kind].word
    made = {"name": ask.name, "asks": word, "means": CONDITION_MEANS[ask.kind]}
    if not has_number(ask.kind):
        return {**made, "value": None, "unit": None, "origin": None, "source": None}
    note = ask_note(setting.lift, ask.name)
    return {
        **made,
        "value": tidy(ask.a / measure_of(ask.kind).scale),
        "unit": unit_of(word) or None,
        "origin": note.origin.value,
        "source": note.words,
    }


def _row_json(setting: Setting, row: Row) -> dict[str, Any]:
    return {
        "from": row.source,
        "when": list(row.when),
        "unless": list(row.unless),
        "to": row.to,
        "do": [EFFECT_WORD[effect] for effect in row.effects],
        "reason": _reason(setting, row),
        "why": row.why,
    }


def _reason(setting: Setting, row: Row) -> str | None:
    """The reason that a row reports, in words; None if it reports none or only what it says anyway."""
    if row.reason in (Reason.NONE, Reason.OWN):
        return None
    return setting.table.reason_text(setting.table.reason_code(row))


def _number(ask: Ask) -> str:
    measure = measure_of(ask.kind)
    return f"{tidy(ask.a / measure.scale):.6g} {measure.shown}".rstrip()


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _wrapped(text: str, head: str, hang: int | None = None) -> str:
    indent = " " * (len(head) if hang is None else hang)
    return textwrap.fill(
        text, max(WIDTH, len(indent) + 40), initial_indent=head, subsequent_indent=indent,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
