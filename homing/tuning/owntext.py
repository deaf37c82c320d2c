"""The text of a lift file with some numbers of its own table changed: rows, order and comments as they were.

Only a number that differs is touched, and its line says where the new one is from. Texts and comments of the
file are blanked while numbers are looked for, so that nothing inside them is taken for one; where a number is
not found (tables written inline, say) the text stays, and reading it back tells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

#: Comments and texts of TOML, in the order in which they have to be tried.
_OPAQUE = re.compile(
    r"""#[^\n]*|\"{3}(?:\\.|[^\\])*?\"{3}|'{3}.*?'{3}|"(?:\\.|[^"\\\n])*"|'[^'\n]*'""", re.DOTALL
)
_HEADER = re.compile(r"^[ \t]*\[\[?[ \t]*(\w[\w.\- \t]*?)[ \t]*\]", re.MULTILINE)
_NUMBER = r"[ \t]*=[ \t]*([-+]?[0-9][0-9_.eE+-]*)"


@dataclass(frozen=True)
class _Edit:
    """A number of the text from ``begin`` to ``end`` that gets another value."""

    begin: int
    end: int
    new: str
    told: str


def with_numbers(
    text: str, settings: Mapping[str, float], origins: Mapping[str, str], phases: Sequence[str]
) -> str:
    """The text with some numbers of its phases and rows changed.

    Parameters
    ----------
    text : str
    settings, origins : mapping
        Values, and where they are from, by their keys below ``[routine]``.
    phases : sequence of str
        Names of the phases in the order of the file.
    """
    blank = _OPAQUE.sub(lambda found: re.sub(r"[^\n]", " ", found[0]), text)
    comments = [found.start() for found in _OPAQUE.finditer(text) if found[0].startswith("#")]
    edits = [
        _Edit(*span, toml(value), _told(key, origins[key], text[slice(*span)]))
        for key, value in settings.items()
        if (span := _place(blank, key, phases)) is not None and not _same(text[slice(*span)], value)
    ]
    lines, begin = [], 0
    for line in text.splitlines(keepends=True):
        end = begin + len(line)
        here = [edit for edit in edits if begin <= edit.begin < end]
        comment = next((place for place in comments if begin <= place < end), None)
        lines.append(_line(line, begin, comment, here) if here else line)
        begin = end
    return "".join(lines)


def toml(value: float) -> str:
    """A number as the lift file writes it."""
    return f"{value:.0f}" if value == round(value) else f"{value:.9g}"


def _line(line: str, begin: int, comment: int | None, edits: list[_Edit]) -> str:
    """One line with its numbers changed; where they are from goes before the comment that it had."""
    ending = line[len(line.rstrip("\r\n")) :]
    stop = len(line) - len(ending) if comment is None else comment - begin
    code, old = line[:stop].rstrip(), line[stop : len(line) - len(ending)].lstrip("# ").strip()
    ordered = sorted(edits, key=lambda each: each.begin)
    for edit in reversed(ordered):
        code = code[: edit.begin - begin] + edit.new + code[edit.end - begin :]
    told = [*(edit.told for edit in ordered), *([old] if old else [])]
    return f"{code}  # {'; '.join(told)}{ending}"


def _told(key: str, origin: str, old: str) -> str:
    """Where a number is from; one of a row is named, since its line may hold several."""
    name = f"{key.rpartition('.')[2]} " if key.startswith("row.") else ""
    return f"{name}{origin}, was {old}"


def _same(old: str, value: float) -> bool:
    try:
        return float(old.replace("_", "")) == value
    except ValueError:
        return False


def _place(blank: str, key: str, phases: Sequence[str]) -> tuple[int, int] | None:
    """Where the number of a key stands in the blanked text; None when it cannot be told."""
    what, which, *rest = key.split(".")
    number = int(which) if what == "row" else phases.index(which) + 1
    block = _nth(blank, f"routine.{what}", number)
    if block is None:
        return None
    if what == "row":
        return _in_list(blank, block, *rest)
    return _number(blank, rest[0], *block)


def _nth(blank: str, header: str, number: int) -> tuple[int, int] | None:
    blocks = list(_blocks(blank, header))
    return blocks[number - 1] if number <= len(blocks) else None


def _blocks(blank: str, header: str) -> Iterator[tuple[int, int]]:
    """Stretches of the text under each header of this name, tables within them included."""
    heads = [(found.start(), found.end(), found[1].replace(" ", "")) for found in _HEADER.finditer(blank)]
    for place, (_, begin, name) in enumerate(heads):
        if name == header:
            after = (start for start, _, other in heads[place + 1 :] if not other.startswith(f"{header}."))
            yield begin, next(after, len(blank))


def _in_list(blank: str, block: tuple[int, int], part: str, word: str) -> tuple[int, int] | None:
    """The number of a condition in a row's list ``when`` or ``unless``."""
    begin, end = block
    head = re.compile(rf"^[ \t]*{part}[ \t]*=[ \t]*\[", re.MULTILINE).search(blank, begin, end)
    if head is None:
        return None
    depth, close = 1, head.end()
    while depth and close < end:
        depth += {"[": 1, "]": -1}.get(blank[close], 0)
        close += 1
    return _number(blank, word, head.end(), close)


def _number(blank: str, key: str, begin: int, end: int) -> tuple[int, int] | None:
    found = re.compile(rf"\b{key}{_NUMBER}").search(blank, begin, end)
    return None if found is None else found.span(1)
