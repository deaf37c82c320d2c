"""Java, C++ and Python as the neutral language is spelt in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from homing.export.identifiers import Words, camel, pascal, snake, upper, words_of
from homing.export.language import ATOM, SIGN, Language
from homing.export.neutral import Type


def _is_plain(text: str) -> bool:
    return all(each.isalnum() or each in "._" for each in text)


class _Braces(Language):
    """What Java and C++ share."""

    def assignment(self, target: str, operator: str, value: str) -> str:
        return f"{target} {operator} {value};"

    def branch(self, condition: str, *, first: bool) -> str:
        return f"if ({condition}) {{" if first else f"}} else if ({condition}) {{"

    def otherwise(self) -> str:
        return "} else {"

    def local(self, words: Words) -> str:
        return camel(words)


class Java(_Braces):
    """Java 11 and later."""

    template = "java.jinja"
    types: ClassVar[Mapping[Type, str]] = {Type.REAL: "double", Type.WHOLE: "long", Type.TRUTH: "boolean"}

    def field(self, name: str) -> str:
        return "this." + camel(words_of(name))

    def constant(self, words: Words) -> str:
        return upper(words)

    def member(self, words: Words) -> str:
        return upper(words)

    def called(self, function: str, arguments: list[str]) -> tuple[str, int]:
        inside = ", ".join(arguments)
        if function != "float":
            return f"Math.{function}({inside})", ATOM
        return f"(double) {inside}" if _is_plain(inside) else f"(double) ({inside})", SIGN


class Cpp(_Braces):
    """C++17."""

    template = "cpp.jinja"
    types: ClassVar[Mapping[Type, str]] = {
        Type.REAL: "double",
        Type.WHOLE: "std::int64_t",
        Type.TRUTH: "bool",
    }

    def field(self, name: str) -> str:
        return name + "_"

    def constant(self, words: Words) -> str:
        return "k" + pascal(words)

    def local(self, words: Words) -> str:
        return snake(words)

    def member(self, words: Words) -> str:
        return pascal(words)

    def called(self, function: str, arguments: list[str]) -> tuple[str, int]:
        named = "static_cast<double>" if function == "float" else f"std::{function}"
        return f"{named}({', '.join(arguments)})", ATOM


class Python(Language):
    """Python 3.9 and later."""

    either, both, negated = "or", "and", "not "
    true, false = "True", "False"
    template = "python.jinja"
    types: ClassVar[Mapping[Type, str]] = {Type.REAL: "float", Type.WHOLE: "int", Type.TRUTH: "bool"}
    end = None

    def field(self, name: str) -> str:
        return "self._" + name

    def constant(self, words: Words) -> str:
        return upper(words)

    def local(self, words: Words) -> str:
        return snake(words)

    def member(self, words: Words) -> str:
        return upper(words)

    def called(self, function: str, arguments: list[str]) -> tuple[str, int]:
        return f"{function}({', '.join(arguments)})", ATOM

    def assignment(self, target: str, operator: str, value: str) -> str:
        return f"{target} {operator} {value}"

    def branch(self, condition: str, *, first: bool) -> str:
        return f"{'if' if first else 'elif'} {condition}:"

    def otherwise(self) -> str:
        return "else:"


LANGUAGES: dict[str, Language] = {"java": Java(), "cpp": Cpp(), "python": Python()}
