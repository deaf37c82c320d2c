"""Words of a log as they may be shown: no control characters, no turned writing direction, not too long.

A log's headers and states are anything that someone's program wrote. On a terminal a control character
acts; in a picture it has no glyph, and a long word leaves no room for the curve beside it.
"""

from __future__ import annotations

import unicodedata

#: Words beside a curve are cut after so many characters.
LABEL_LENGTH = 16
#: Control characters and what only steers (writing direction, joining) are shown as their code.
_STEERING = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
_LAYOUT = frozenset("\n\t")


def visible(text: str) -> str:
    r"""The text with control characters as ``\x..`` or ``\u....``; line breaks and tabs stay."""
    if text.isascii() and text.replace("\n", "").replace("\t", "").isprintable():
        return text
    return "".join(_shown(each) for each in text)


def _shown(character: str) -> str:
    if character in _LAYOUT or unicodedata.category(character) not in _STEERING:
        return character
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def label(text: str) -> str:
    """A word of the log for a picture: visible, short, and with dollar signs that start no mathematics."""
    whole = visible(text or "(empty)").replace("\n", " ")
    short = whole if len(whole) <= LABEL_LENGTH else whole[: LABEL_LENGTH - 1] + "…"
    return short.replace("$", r"\$")
