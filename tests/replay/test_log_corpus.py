"""Every file that fuzzing found worth keeping is read or refused, as short and as long files are read.

The corpus holds inputs that once crashed the reader (named after what was wrong) and the smallest inputs
that reach its parts. `tests/fuzz/fuzz_reading.py` finds more.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from corpusfiles import LONGEST_MESSAGE, MAPS

from replay import Log, delimited, diagnose, read_log
from replay.summary import Summary, log_text
from sensor_models.errors import InputError

FILES = sorted((Path(__file__).parent / "corpus").iterdir())


def read(path: Path, columns: dict[str, Any] | None) -> Log | None:
    """The log, or None where it is refused in a sentence that a person can read."""
    try:
        return read_log(path, columns)
    except InputError as error:
        message = str(error)
        assert path.name in message or "columns" in message
        assert len(message) <= LONGEST_MESSAGE
        return None


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_file_is_read_or_refused(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    logs = [read(path, columns) for columns in (None, *MAPS)]
    monkeypatch.setattr(delimited, "TOP_BYTES", 64)
    monkeypatch.setattr(delimited, "SNIFFED_LINES", 2)
    for log in [*logs, read(path, None)]:
        assert log is None or log_text(Summary.of(log))


def test_the_corpus_holds_logs_and_refusals() -> None:
    read_ones = [path for path in FILES if read(path, None) is not None]
    assert len(FILES) / 4 < len(read_ones) < len(FILES)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_whatever_is_read_can_be_diagnosed(path: Path) -> None:
    for log in [read(path, columns) for columns in (None, *MAPS)]:
        assert log is None or diagnose(log).verdict
