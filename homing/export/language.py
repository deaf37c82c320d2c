"""From the neutral language to a target language (``languages``): expressions and statements."""

from __future__ import annotations

import ast
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from typing import ClassVar

from homing.export.identifiers import Words, words_of
from homing.export.neutral import Type

#: How strongly an operator binds; what binds less stands in brackets inside what binds more.
OR, AND, NOT, COMPARED, SUM, PRODUCT, SIGN, ATOM = range(8)

_BINARY: dict[type[ast.operator], tuple[str, int]] = {
    ast.Add: ("+", SUM),
    ast.Sub: ("-", SUM),
    ast.Mult: ("*", PRODUCT),
    ast.Div: ("/", PRODUCT),
}
_COMPARED: dict[type[ast.cmpop], str] = {
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=",
}  # fmt: skip


class Language(ABC):
    """How one language spells what the neutral one says.

    ``either``, ``both`` and ``negated`` are its logical operators, ``true`` and ``false`` its truths.
    """

    either, both, negated = "||", "&&", "!"
    true, false = "true", "false"
    indent = "    "
    template: str
    types: ClassVar[Mapping[Type, str]]

    @abstractmethod
    def field(self, name: str) -> str:
        """Something remembered."""

    @abstractmethod
    def constant(self, words: Words) -> str:
        """A constant of the program."""

    @abstractmethod
    def local(self, words: Words) -> str:
        """A local name or a parameter."""

    @abstractmethod
    def member(self, words: Words) -> str:
        """A member of an enumeration."""

    @abstractmethod
    def called(self, function: str, arguments: list[str]) -> tuple[str, int]:
        """Call of ``abs``, ``max`` or ``float``, and how strongly the result binds."""

    @abstractmethod
    def assignment(self, target: str, operator: str, value: str) -> str:
        """One assignment."""

    @abstractmethod
    def branch(self, condition: str, *, first: bool) -> str:
        """Head of an ``if`` or of one that follows it."""

    @abstractmethod
    def otherwise(self) -> str:
        """Head of an ``else``."""

    end: str | None = "}"

    def expression(self, text: str, number: str = "") -> str:
        """A neutral expression in this language; ``number`` is the constant that ``a`` stands for."""
        return self._expression(ast.parse(text, mode="eval").body, number)[0]

    def statements(self, text: str) -> list[str]:
        """Neutral statements as lines of this language."""
        return list(self._lines(ast.parse(text).body))

    def _lines(self, body: list[ast.stmt]) -> Iterator[str]:
        for statement in body:
            if isinstance(statement, ast.If):
                yield from self._branches(statement)
                if self.end is not None:
                    yield self.end
                continue
            operator = "="
            if isinstance(statement, ast.AugAssign):
                operator = _BINARY[type(statement.op)][0] + "="
                target: ast.expr = statement.target
            elif isinstance(statement, ast.Assign):
                target = statement.targets[0]
            else:
                raise TypeError(f"not part of the neutral language: {ast.unparse(statement)}")
            value = self._expression(statement.value, "")[0]
            yield self.assignment(self._expression(target, "")[0], operator, value)

    def _branches(self, statement: ast.If, first: bool = True) -> Iterator[str]:
        yield self.branch(self._expression(statement.test, "")[0], first=first)
        yield from (self.indent + line for line in self._lines(statement.body))
        rest = statement.orelse
        if len(rest) == 1 and isinstance(rest[0], ast.If):
            yield from self._branches(rest[0], first=False)
        elif rest:
            yield self.otherwise()
            yield from (self.indent + line for line in self._lines(rest))

    def _expression(self, node: ast.expr, number: str) -> tuple[str, int]:
        """Text of an expression and how strongly it binds."""
        if isinstance(node, ast.BoolOp):
            sign, binds = (self.either, OR) if isinstance(node.op, ast.Or) else (self.both, AND)
            return f" {sign} ".join(self._at_least(each, binds + 1, number) for each in node.values), binds
        if isinstance(node, ast.UnaryOp):
            if isinstance(node.op, ast.Not):
                return self.negated + self._at_least(node.operand, SIGN, number), NOT
            return "-" + self._at_least(node.operand, SIGN, number), SIGN
        if isinstance(node, ast.Compare):
            left, right = (self._at_least(each, SUM, number) for each in (node.left, node.comparators[0]))
            return f"{left} {_COMPARED[type(node.ops[0])]} {right}", COMPARED
        if isinstance(node, ast.BinOp):
            sign, binds = _BINARY[type(node.op)]
            left = self._at_least(node.left, binds, number)
            return f"{left} {sign} {self._at_least(node.right, binds + 1, number)}", binds
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            return self.called(
                node.func.id, [self._expression(argument, number)[0] for argument in node.args]
            )
        return self._atom(node, number), ATOM

    def _atom(self, node: ast.expr, number: str) -> str:
        if isinstance(node, ast.Constant):
            if isinstance(node.value, bool):
                return self.true if node.value else self.false
            return repr(node.value)
        if isinstance(node, ast.Attribute):
            return self.field(node.attr)
        if isinstance(node, ast.Name):
            if node.id == "a":
                return number
            return (self.constant if node.id.isupper() else self.local)(words_of(node.id))
        raise TypeError(f"not part of the neutral language: {ast.unparse(node)}")

    def _at_least(self, node: ast.expr, binds: int, number: str) -> str:
        text, own = self._expression(node, number)
        return text if own >= binds else f"({text})"
