"""What a person reads in the terminal."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from report_fakes import NAN, fake_run, fake_verification
from rich.console import Console

from homing.report import show, show_run
from homing.results import Outcome, Run, Verification


class _Stream(io.StringIO):
    """Text stream which says that it can show only some letters."""

    def __init__(self, encoding: str) -> None:
        super().__init__()
        self._name = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._name


def printed(thing: Verification | Run, width: int = 100, encoding: str = "utf-8") -> str:
    stream = _Stream(encoding)
    console = Console(file=stream, width=width, highlight=False)
    if isinstance(thing, Run):
        show_run(thing, console)
    else:
        show(thing, console)
    return stream.getvalue()


def test_verdict_comes_first_and_last() -> None:
    lines = printed(fake_verification(False)).splitlines()
    assert lines[0] == "FAIL  Invented mast: 1 of 7 requirements falls short."
    assert lines[-1] == lines[0]
    assert printed(fake_verification(True)).startswith("PASS  ")


@pytest.mark.parametrize("width", [80, 100, 160])
def test_no_line_is_wider_than_the_terminal_or_100_columns(width: int) -> None:
    assert max(len(line) for line in printed(fake_verification(False), width).splitlines()) <= min(width, 100)


def test_advice_follows_the_verdict() -> None:
    text = printed(fake_verification(False))
    assert text.index("Slow to 230 mm/s") < text.index("Requirements over 2000 runs")


def test_everything_is_said() -> None:
    text = printed(fake_verification(False))
    for words in (
        "2.1 % (1.5-2.7)",
        "stop distance",
        "ended 3.8 mm above the hard stop",
        "Diagnostic coverage (equal weights): 71 %.",
        "Faults with an unsafe run: 4.",
        "slides 'drawer', starting value",
        "never certifies",
        "other places where it would be made: 21.0 to 27.0 mm",
        "kt and ke of the motor differ",
    ):
        assert words in " ".join(text.split()), words


def test_what_matters_is_in_words_not_only_in_colour() -> None:
    text = printed(fake_verification(False))
    assert "\x1b" not in text
    assert "FAILS" in text
    assert "UNSAFE" in text


def test_narrow_terminal_drops_columns_and_breaks_no_numbers() -> None:
    text = printed(fake_verification(False), 80)
    assert "median" not in text
    assert "most common reason" not in text
    assert "magnet turned over zeroed" in " ".join(text.split())


def test_plain_letters_where_unicode_cannot_be_shown() -> None:
    printed(fake_verification(False), encoding="cp437").encode("ascii")


def test_a_budget_part_that_gives_back_is_drawn_differently() -> None:
    line = next(line for line in printed(fake_run()).splitlines() if line.startswith("string"))
    assert "▒" in line


def test_run_without_stop_says_so() -> None:
    run = replace(fake_run(5, Outcome.UNSAFE), stops=())
    text = printed(run)
    assert "Run 5 (start: anywhere): unsafe, travelled further" in text
    assert "never stopped on the sensor" in text


def test_missing_values_read_none() -> None:
    verification = fake_verification(zero_scatter_mm=NAN, sensor=None, faults=(), diagnostic_coverage=None)
    text = printed(verification)
    assert "zero error): none." in text
    assert "nan" not in text.split()


def test_square_brackets_in_texts_are_not_taken_for_styles() -> None:
    text = printed(fake_verification(notes=("see [tolerances] and [bold]",)))
    assert "see [tolerances] and [bold]" in text
