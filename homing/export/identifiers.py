"""Names and texts of a table made fit for program text: identifiers, comments, string literals. ASCII only.

A table of a team may name its phases as it likes; what comes out here is safe in every language: no
keyword, no two names alike in any spelling, nothing that ends a comment or a string early.
"""

from __future__ import annotations

import keyword
import re
import textwrap
import unicodedata
from collections.abc import Iterable

Words = tuple[str, ...]

_JAVA_AND_CPP = """
    abstract alignas alignof and asm assert auto bool boolean break byte case catch char class compl
    concept const constexpr consteval constinit continue decltype default delete do double else enum
    explicit export extends extern false final finally float for friend goto if implements import
    inline instanceof int interface long mutable namespace native new noexcept not nullptr null
    operator or package private protected public record register requires return sealed short signed
    sizeof static strictfp struct super switch synchronized template this throw throws transient
    true try typedef typeid typename union unsigned using var virtual void volatile wchar while xor
    yield
"""
#: Names of the libraries that a program uses.
_LIBRARY = "abs max min std math errno stdin stdout stderr"
#: Words that cannot name anything in one of the languages, in lower case.
KEYWORDS = frozenset(
    word.lower()
    for word in (
        *keyword.kwlist,
        *keyword.softkwlist,
        *_JAVA_AND_CPP.split(),
        *_LIBRARY.split(),
    )
)


def ascii_text(text: str) -> str:
    """The text in one line of printable ASCII; what has no ASCII form becomes a question mark."""
    spread = unicodedata.normalize("NFKD", " ".join(text.split()))
    plain = "".join(each for each in spread if not unicodedata.combining(each))
    shown = "".join(each if " " <= each <= "~" else "?" for each in plain)
    # two question marks begin what some compilers take for another character
    return re.sub(r"\?{2,}", "?", shown)


def comment_text(text: str) -> str:
    """The text for a comment: nothing in it ends the comment, goes on in the next line or is an escape."""
    return ascii_text(text).replace("\\", "/").replace("*/", "* /").replace("/*", "/ *").replace('"""', "'''")


def comment_lines(text: str, prefix: str, width: int = 100) -> list[str]:
    """The text as comment lines, each with the prefix."""
    return textwrap.wrap(
        comment_text(text),
        width,
        initial_indent=prefix,
        subsequent_indent=prefix,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [prefix.rstrip()]


def string_literal(text: str) -> str:
    """The text as a string literal that all the languages read alike."""
    escaped = ascii_text(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def words_of(name: str) -> Words:
    """Lower-case words of a name; ``backOff``, ``back-off`` and ``back_off`` give the same."""
    split = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", ascii_text(name))
    words = tuple(re.findall(r"[a-z0-9]+", split.lower())) or ("unnamed",)
    return ("n", *words) if words[0][0].isdigit() else words


class Names:
    """Gives every name in a scope words of its own, whatever way the languages join them."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        self._taken = {each.replace("_", "").lower() for each in taken}

    def give(self, name: str) -> Words:
        """Words for a name; a number is added while they are taken or a keyword."""
        words = words_of(name)
        number = 1
        while self._is_taken(words):
            number += 1
            words = (*words_of(name), str(number))
        self._taken.add("".join(words))
        return words

    def _is_taken(self, words: Words) -> bool:
        joined = "".join(words)
        return joined in self._taken or joined in KEYWORDS


def camel(words: Words) -> str:
    """``backOff``."""
    return words[0] + "".join(word.capitalize() for word in words[1:])


def pascal(words: Words) -> str:
    """``BackOff``."""
    return "".join(word.capitalize() for word in words)


def snake(words: Words) -> str:
    """``back_off``."""
    return "_".join(words)


def upper(words: Words) -> str:
    """``BACK_OFF``."""
    return snake(words).upper()
