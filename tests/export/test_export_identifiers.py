"""Names and texts made fit for program text."""

from __future__ import annotations

import keyword

import pytest
from export_tables import NASTY, TEXTS
from hypothesis import given
from hypothesis import strategies as st

from homing.export.identifiers import (
    KEYWORDS,
    Names,
    ascii_text,
    camel,
    comment_lines,
    comment_text,
    pascal,
    snake,
    string_literal,
    upper,
    words_of,
)

NAMES = st.lists(st.one_of(st.sampled_from([*NASTY, *sorted(KEYWORDS)]), st.text(max_size=12)), max_size=25)


@pytest.mark.parametrize("name", ["backOff", "back_off", "back-off", "Back Off", " back  off "])
def test_a_name_is_split_into_words(name: str) -> None:
    words = words_of(name)
    assert words == ("back", "off")
    assert (camel(words), pascal(words), snake(words), upper(words)) == (
        "backOff", "BackOff", "back_off", "BACK_OFF",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("name", "words"), [("2nd look", ("n", "2nd", "look")), ("", ("unnamed",)), ("größe", ("gro", "e"))]
)
def test_a_name_that_no_language_takes_is_made_one(name: str, words: tuple[str, ...]) -> None:
    assert words_of(name) == words


@given(NAMES)
def test_names_in_a_scope_differ_in_every_spelling_and_are_no_keywords(names: list[str]) -> None:
    scope = Names(["time_s", "phase"])
    given_words = [scope.give(name) for name in names]
    for spelled in (camel, pascal, snake, upper):
        identifiers = [spelled(words) for words in given_words]
        # not even letter case or underscores alone tell two of them apart
        joined = [each.replace("_", "").lower() for each in identifiers]
        assert len(set(joined)) == len(joined)
        assert not {"times", "phase"} & set(joined)
        assert all(each.isidentifier() and each.isascii() for each in identifiers)
        assert not any(keyword.iskeyword(each) for each in identifiers)
        assert not KEYWORDS & {each.lower() for each in identifiers}


@given(st.one_of(st.sampled_from(TEXTS), st.text()))
def test_texts_stay_in_their_line_their_comment_and_their_string(text: str) -> None:
    plain = ascii_text(text)
    assert plain.isascii()
    assert plain.isprintable()
    assert "?" + "?" not in plain
    assert eval(string_literal(text)) == plain
    comment = comment_text(text)
    assert "\\" not in comment
    assert "*/" not in comment
    assert "/*" not in comment
    for line in comment_lines(text, "// ", 60):
        assert line.startswith("//")
        assert "\n" not in line


def test_what_has_an_ascii_form_keeps_it() -> None:
    assert ascii_text("Aufzug für Bücher, 25 µm") == "Aufzug fur Bucher, 25 ?m"
