"""What one key of a lift file accepts: bounded numbers, spreads, words and texts.

Each check is a pydantic validator that either hands on the very value or refuses it with the end of
the sentence "KEY must be ...". Nothing is converted, clipped or repaired: ``true`` is not 1 and
``"30"`` is not 30.
"""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Any

from pydantic import PlainValidator, ValidationInfo
from pydantic_core import PydanticCustomError


@dataclass(frozen=True, slots=True)
class Spread:
    """A value that a data sheet gives as minimum, typical and maximum."""

    low: float
    typ: float
    high: float


@dataclass(frozen=True, slots=True)
class Range:
    """A span to search, in a ``[[candidate]]``."""

    low: float
    high: float


#: A number of a sensor table: plain, spread by its data sheet, or (candidates only) a span.
SensorNumber = float | Spread | Range


def typical(value: SensorNumber) -> float:
    """The one number to calculate with: typical value of a spread, middle of a span."""
    if isinstance(value, Spread):
        return value.typ
    if isinstance(value, Range):
        return (value.low + value.high) / 2
    return value


def refuse(must: str) -> PydanticCustomError:
    """Error whose text is the end of "KEY must ..."."""
    return PydanticCustomError("must", "{must}", {"must": f"must {must}"})


def is_number(value: object) -> bool:
    """True for a finite int or float; a boolean is no number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


@dataclass(frozen=True, slots=True)
class Bounds:
    """The numbers accepted: at least, above, at most, below; perhaps whole ones only."""

    least: float | None = None
    above: float | None = None
    most: float | None = None
    below: float | None = None
    whole: bool = False

    @property
    def words(self) -> str:
        """What is accepted, for a message."""
        kind = "a whole number" if self.whole else "a number"
        if self.least is not None and self.most is not None:
            return f"{kind} from {self.least:g} to {self.most:g}"
        low = f" of at least {self.least:g}" if self.least is not None else ""
        low = f" above {self.above:g}" if self.above is not None else low
        high = f"at most {self.most:g}" if self.most is not None else ""
        high = f"below {self.below:g}" if self.below is not None else high
        joint = " and " if low and high else " " if high else ""
        return f"{kind}{low}{joint}{high}"

    def accept(self, value: object) -> bool:
        """True when ``value`` is a finite number within the bounds."""
        if not is_number(value) or (self.whole and not isinstance(value, int)):
            return False
        number = float(value)  # type: ignore[arg-type]
        return not (
            (self.least is not None and number < self.least)
            or (self.above is not None and number <= self.above)
            or (self.most is not None and number > self.most)
            or (self.below is not None and number >= self.below)
        )


def number(
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
) -> PlainValidator:
    """Check for a plain number within bounds."""
    bounds = Bounds(least, above, most, below)

    def check(value: Any) -> float:
        if not bounds.accept(value):
            raise refuse(f"be {bounds.words}")
        return float(value)

    return PlainValidator(check)


def count(*, least: int = 0, most: int | None = None) -> PlainValidator:
    """Check for a whole number within bounds."""
    bounds = Bounds(least=least, most=most, whole=True)

    def check(value: Any) -> int:
        if not bounds.accept(value):
            raise refuse(f"be {bounds.words}")
        return int(value)

    return PlainValidator(check)


def spread(
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
) -> PlainValidator:
    """Check for a sensor's number, or its data sheet's ``[min, typ, max]``; a candidate's ``[low, high]``."""
    bounds = Bounds(least, above, most, below)

    def check(value: Any, info: ValidationInfo) -> SensorNumber:
        spans = bool(info.context and info.context.get("candidate"))
        forms = f"{bounds.words}, or [min, typ, max] of such" + (", or [low, high]" if spans else "")
        given = value if isinstance(value, list) else [value]
        if len(given) not in ((1, 2, 3) if spans else (1, 3)) or not all(map(bounds.accept, given)):
            raise refuse(f"be {forms}")
        if given != sorted(given) or (len(given) > 1 and given[0] == given[-1]):
            raise refuse("be listed from the smallest to the largest, and not all equal")
        numbers = [float(each) for each in given]
        if len(numbers) == 3:
            return Spread(*numbers)
        return Range(*numbers) if len(numbers) == 2 else numbers[0]

    return PlainValidator(check)


def lengths(*names: str) -> PlainValidator:
    """Check for a list of lengths above 0, one for each name."""

    def check(value: Any) -> tuple[float, ...]:
        bounds = Bounds(above=0)
        if not isinstance(value, list) or len(value) != len(names) or not all(map(bounds.accept, value)):
            raise refuse(f"be a list of {len(names)} numbers above 0: [{', '.join(names)}]")
        return tuple(float(each) for each in value)

    return PlainValidator(check)


def points(x_name: str, y_name: str) -> PlainValidator:
    """Check for points ``[[x, y], ...]`` with x rising, at least two of them, nothing negative."""

    def check(value: Any) -> tuple[tuple[float, float], ...]:
        must = f"be at least two points [[{x_name}, {y_name}], ...] of numbers not below 0, {x_name} rising"
        bounds = Bounds(least=0)
        pairs = value if isinstance(value, list) else []
        if len(pairs) < 2 or not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
            raise refuse(must)
        if not all(bounds.accept(each) for pair in pairs for each in pair):
            raise refuse(must)
        if any(later[0] <= earlier[0] for earlier, later in pairwise(pairs)):
            raise refuse(must)
        return tuple((float(x), float(y)) for x, y in pairs)

    return PlainValidator(check)


def choice(words: type[IntEnum]) -> PlainValidator:
    """Check for one of an enumeration's words; suggests the nearest."""
    members = {member.name.lower(): member for member in words}

    def check(value: Any) -> IntEnum:
        if isinstance(value, str) and value in members:
            return members[value]
        accepted = " or ".join(f'"{name}"' for name in members)
        raise refuse(f"be {accepted}{nearest(value, members)}")

    return PlainValidator(check)


def truth() -> PlainValidator:
    """Check for true or false."""

    def check(value: Any) -> bool:
        if not isinstance(value, bool):
            raise refuse("be true or false")
        return value

    return PlainValidator(check)


def text() -> PlainValidator:
    """Check for a text that is not empty."""

    def check(value: Any) -> str:
        if not isinstance(value, str) or not value.strip():
            raise refuse("be a text that is not empty")
        return value

    return PlainValidator(check)


def nearest(word: object, known: Any) -> str:
    """Half a sentence with the known word nearest to ``word``; empty when none is near."""
    found = difflib.get_close_matches(str(word), [str(each) for each in known], n=1, cutoff=0.6)
    return f' (did you mean "{found[0]}"?)' if found else ""
