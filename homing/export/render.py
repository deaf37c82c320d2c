"""A program written out in a language: the template filled with what ``program`` and ``neutral`` say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from homing.export import neutral
from homing.export.header import header_lines
from homing.export.identifiers import comment_lines, comment_text, pascal, string_literal, words_of
from homing.export.items import ConditionItem, Program, RowItem
from homing.export.language import Language
from homing.export.languages import LANGUAGES
from homing.export.neutral import Field
from homing.export.program import program

if TYPE_CHECKING:
    from homing.setting import Setting

#: How each language begins, for the header; ``{name}`` is the name of class, namespace or module.
_SETTING_UP = {
    "java": "Make one {name} at power-up, with time and counts.",
    "cpp": "Make one {name}::Routine at power-up, with time and counts.",
    "python": "Make one Routine at power-up, with time and counts.",
}
_SIGN = {"java": "// ", "cpp": "// ", "python": "# "}
_WIDTH = 110


def source_text(setting: Setting, language: str, name: str) -> str:
    """The routine of a setting as program text.

    Parameters
    ----------
    setting : Setting
        Lift and table.
    language : str
        "java", "cpp" or "python".
    name : str
        Name of the Java class or C++ namespace; Python needs none.
    """
    spoken = LANGUAGES[language]
    environment = Environment(
        loader=PackageLoader("homing.export", "templates"),
        autoescape=False,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made = program(setting)
    context = {**_names(spoken, _SIGN[language]), **_contents(made)}
    header = header_lines(setting, _SETTING_UP[language].format(name=name))
    return environment.get_template(spoken.template).render(context, name=name, header=header)


def _contents(made: Program) -> dict[str, Any]:
    memory = [each for each in neutral.MEMORY if made.stall or each.name != "stall_made"]
    return {
        "phases": made.phases,
        "reasons": made.reasons,
        "constants": made.constants,
        "conditions": made.conditions,
        "shared": made.shared,
        "stall": made.stall,
        "memory": memory,
        "height": neutral.SHARED["height_m"],
        "reading_text": neutral.READ_STALL if made.stall else neutral.READ_SENSOR,
        "note": neutral.NOTE,
        "restart": neutral.RESTART_CLOCKS,
    }


def _names(spoken: Language, sign: str) -> dict[str, Any]:
    """What templates call."""

    def field_name(field: Field) -> str:
        return spoken.field(field.name).rpartition(".")[2]

    def comment(text: str, indent: int) -> list[str]:
        return comment_lines(text, sign, _WIDTH - indent)

    def number(condition: ConditionItem) -> str:
        return spoken.constant(condition.constant) if condition.constant is not None else ""

    def row_condition(row: RowItem) -> str:
        hold = [spoken.local(words) for words in row.when]
        barred = [spoken.negated + spoken.local(words) for words in row.unless]
        return f" {spoken.both} ".join([*hold, *barred]) or spoken.true

    return {
        "lang": spoken,
        "field_name": field_name,
        "comment": comment,
        "comment_text": comment_text,
        "text": string_literal,
        "words": words_of,
        "pascal": pascal,
        "number": number,
        "row_condition": row_condition,
    }
