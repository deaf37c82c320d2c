"""The closed set of conditions and effects that an own table may use, each with its meaning.

A condition without a number is written as a word (``"made"``), one with a number as a small table whose
key carries the unit (``{moved_mm = 720}``). "In this phase" means: since the phase was entered.
"""

from __future__ import annotations

from dataclasses import dataclass

from homing.kernel.codes import Condition, Effect
from homing.values import Bounds

_MM = _MS = 1e-3
_COUNT = Bounds(least=1, whole=True)
_LENGTH = Bounds(above=0)
_HEIGHT = Bounds()


@dataclass(frozen=True)
class ConditionWord:
    """One condition: how it is written, what it asks, its number's bounds and its scale to SI.

    ``bounds`` None: it takes no number, and the kernel is given ``fixed``.
    """

    word: str
    kind: Condition
    means: str
    bounds: Bounds | None = None
    scale: float = 1.0
    fixed: float = 0.0


CONDITIONS: tuple[ConditionWord, ...] = (
    ConditionWord("start_requested", Condition.START, "a person asked for a start; used up by the row taken"),
    ConditionWord("made", Condition.MADE, "this reading is made"),
    ConditionWord("not_made", Condition.CLEAR_RUN, "this reading is not made", fixed=1.0),
    ConditionWord("just_made", Condition.JUST_MADE, "this reading is made, the last one was not"),
    ConditionWord("just_released", Condition.JUST_RELEASED, "this reading is not made, the last one was"),
    ConditionWord("made_times", Condition.MADE_RUN, "the last so many readings are all made", _COUNT),
    ConditionWord("not_made_times", Condition.CLEAR_RUN, "the last so many are all not made", _COUNT),
    ConditionWord(
        "released_by_mm",
        Condition.CLEAR_BY,
        "not made, and moved out so far since it last was, or in this phase",
        _LENGTH,
        _MM,
    ),
    ConditionWord(
        "made_above_mm",
        Condition.MADE_ABOVE,
        "implausible: made, referenced, and the declared height is above this",
        _HEIGHT,
        _MM,
    ),
    ConditionWord("edge_read_late", Condition.EDGE_LONG_LOOP, "the edge was captured in an overlong loop"),
    ConditionWord(
        "edges_within_mm", Condition.EDGES_AGREE, "captured and kept edge lie within this", _LENGTH, _MM
    ),
    ConditionWord("referenced", Condition.REFERENCED, "a zero has been declared"),
    ConditionWord("below_mm", Condition.BELOW, "referenced, and the declared height is below", _HEIGHT, _MM),
    ConditionWord("above_mm", Condition.ABOVE, "referenced, and the declared height is above", _HEIGHT, _MM),
    ConditionWord(
        "standstill_ms", Condition.STANDSTILL, "counts still for so long in this phase", _LENGTH, _MS),
    ConditionWord("in_phase_s", Condition.TIMER_OVER, "in this phase for longer than this", _LENGTH),
    ConditionWord("moved_mm", Condition.MOVED, "moved further than this either way", _LENGTH, _MM),
    ConditionWord("moved_out_mm", Condition.MOVED_OUT, "moved out so far in this phase", _LENGTH, _MM),
    ConditionWord("moved_in_mm", Condition.MOVED_IN, "moved in so far in this phase", _LENGTH, _MM),
    ConditionWord(
        "not_moving_ms", Condition.NOT_MOVING, "told to move, and the counts still for so long", _LENGTH, _MS
    ),
    ConditionWord(
        "wrong_way_mm", Condition.WRONG_WAY, "moved so far against the command in this phase", _LENGTH, _MM
    ),
    ConditionWord(
        "counts_faster_than_mm_s", Condition.JUMPED, "counts changed faster than this since the last loop",
        _LENGTH, _MM,
    ),
    ConditionWord("retries_used", Condition.RETRIES_USED, "so many retries have been counted", _COUNT),
)  # fmt: skip

BY_WORD: dict[str, ConditionWord] = {each.word: each for each in CONDITIONS}


@dataclass(frozen=True)
class EffectWord:
    """One effect of taking a row: how it is written and what it does."""

    word: str
    effect: Effect
    means: str


EFFECTS: tuple[EffectWord, ...] = (
    EffectWord("capture_edge", Effect.CAPTURE_EDGE, "remember where the reading changed, between two loops"),
    EffectWord("keep_edge", Effect.KEEP_EDGE, "keep the captured edge, to compare the next one with it"),
    EffectWord("zero_at_edge", Effect.SET_ZERO, "declare the captured edge to be the reference height"),
    EffectWord("zero_here", Effect.ZERO_HERE, "declare the present counts to be the reference height"),
    EffectWord("forget_zero", Effect.FORGET_ZERO, "no zero is declared any more"),
    EffectWord("count_retry", Effect.COUNT_RETRY, "count one retry"),
    EffectWord("forget_retries", Effect.FORGET_RETRIES, "no retry has been counted any more"),
    EffectWord("keep_clocks", Effect.KEEP_CLOCKS, "timer and distance of the phase run on instead of anew"),
)

BY_EFFECT: dict[str, EffectWord] = {each.word: each for each in EFFECTS}
