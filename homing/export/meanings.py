"""What conditions and effects mean in words, and in which unit a condition's number is."""

from __future__ import annotations

from dataclasses import dataclass

from homing.kernel.codes import Condition, Effect
from homing.own.words import CONDITIONS, EFFECTS, ConditionWord

#: One word a condition: the first of the closed set that stands for it and is no special case.
WORD_OF: dict[Condition, ConditionWord] = {}
for _each in CONDITIONS:
    if _each.fixed == 0.0:
        WORD_OF.setdefault(_each.kind, _each)

CONDITION_MEANS: dict[Condition, str] = {kind: word.means for kind, word in WORD_OF.items()}
EFFECT_MEANS: dict[Effect, str] = {each.effect: each.means for each in EFFECTS}
EFFECT_WORD: dict[Effect, str] = {each.effect: each.word for each in EFFECTS}


@dataclass(frozen=True)
class Measure:
    """Unit of a condition's number in the program, and as the lift file shows it."""

    unit: str
    suffix: str
    shown: str
    scale: float


_LENGTH = Measure("m", "m", "mm", 1e-3)
_TIME = Measure("s", "s", "ms", 1e-3)
_SECONDS = Measure("s", "s", "s", 1.0)
_SPEED = Measure("m/s", "m_per_s", "mm/s", 1e-3)
_NUMBER = Measure("times", "", "", 1.0)
_BY_END = (("_mm_s", _SPEED), ("_mm", _LENGTH), ("_ms", _TIME), ("_s", _SECONDS))


def measure_of(kind: Condition) -> Measure:
    """Unit of the number of a condition, told by the end of its word."""
    word = WORD_OF[kind].word
    return next((measure for end, measure in _BY_END if word.endswith(end)), _NUMBER)


def has_number(kind: Condition) -> bool:
    """Whether the condition takes a number."""
    return WORD_OF[kind].bounds is not None
