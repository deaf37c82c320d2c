"""Bad logs on the command line: one sentence with file, column and row; exit code 2; nothing written."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import tracemalloc
from pathlib import Path

import pytest
from logfiles import up_and_down

from homing.cli import run as program
from replay import Role, read_log, textfile
from replay.table import MOST_COLUMNS
from sensor_models.errors import InputError

ROWS = "".join(f"{20 * i},{i}\n" for i in range(10))
GOOD = f"t_ms,counts\n{ROWS}"
MAPPED = '[log]\ntime = { column = "t_ms", unit = "ms" }\n'

#: Name, file, map for --columns, what the sentence must say.
REFUSED: list[tuple[str, bytes, str, tuple[str, ...]]] = [
    ("empty file", b"", "", ("bad.csv", "it is empty")),
    ("header only", b"t_ms,counts\n", "", ("bad.csv", "at least two rows", "it has 0")),
    ("one row", b"t_ms,counts\n0,1\n", "", ("bad.csv", "at least two rows", "it has 1")),
    ("binary junk", bytes(range(256)) * 20, "", ("bad.csv", "this is binary")),
    ("UTF-16 without its mark", GOOD.encode("utf-16-le"), "", ("bad.csv", "this is binary")),
    ("UTF-32", GOOD.encode("utf-32"), "", ("bad.csv", "must be UTF-8 or UTF-16")),
    ("damaged Parquet", b"PAR1" + b"\0" * 200 + b"PAR1", "", ("bad.csv", "must be a whole Parquet file")),
    ("time stands", b"t_ms,counts\n5,1\n5,2\n5,3\n", "", ('"t_ms"', "it stays at 5")),
    ("counts are words", b"t_ms,counts\n0,up\n20,down\n", "", ('"counts"', "data row 0 holds 'up'")),
    (
        "counts are words under a map",
        b"t_ms,c\n0,up\n20,down\n",
        MAPPED + 'counts = { column = "c" }\n',
        ("bad.csv, column c, data row 0", "must hold numbers", "got 'up'"),
    ),
    (
        "a sensor of words under a map",
        GOOD.replace("counts", "counts,s").replace("\n", ",wet\n").replace("s,wet", "s").encode(),
        MAPPED + 'counts = { column = "counts" }\nsensor = { column = "s" }\n',
        ("bad.csv, column s, data row 0", "on/off words", "got 'wet'"),
    ),
    (
        "a missing column",
        GOOD.encode(),
        MAPPED + 'counts = { column = "count" }\n',
        ("bad.csv, log.counts.column", "did you mean", "counts", "got 'count'"),
    ),
    (
        "an unknown unit",
        GOOD.encode(),
        MAPPED + 'counts = { column = "counts", unit = "furlong" }\n',
        ("map.toml, log.counts.unit", '"mm"', "got 'furlong'"),
    ),
    (
        "too many columns",
        (",".join(f"c{i}" for i in range(MOST_COLUMNS + 1)) + "\n").encode() * 3,
        "",
        ("bad.csv", f"at most {MOST_COLUMNS} columns"),
    ),
]


def errors(said: str) -> str:
    """What was said but for the notice that the kernels are compiled, which comes once a machine."""
    return "".join(line for line in said.splitlines(keepends=True) if not line.startswith("compiling once"))


def files_in(folder: Path) -> list[Path]:
    return sorted(each for each in folder.rglob("*") if each.is_file())


@pytest.mark.parametrize(("name", "data", "columns", "words"), REFUSED, ids=[each[0] for each in REFUSED])
def test_a_bad_log_is_refused_in_one_sentence(
    name: str,
    data: bytes,
    columns: str,
    words: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "bad.csv").write_bytes(data)
    arguments = ["replay", str(tmp_path / "bad.csv"), "--json", str(tmp_path / "out.json")]
    if columns:
        (tmp_path / "map.toml").write_text(columns)
        arguments += ["--columns", str(tmp_path / "map.toml")]
    before = files_in(tmp_path)
    assert program([*arguments, "--out", str(tmp_path / "report")]) == 2
    said = capsys.readouterr()
    sentence = errors(said.err).split("like this:")[0]
    assert said.out == ""
    assert sentence.startswith("downstop: ")
    assert sentence.strip().count("\n") == 0
    for word in words:
        assert word in sentence
    assert files_in(tmp_path) == before


def test_a_damaged_parquet_file_says_nothing_else(tmp_path: Path) -> None:
    # in a process of its own: the library writes to standard error below Python
    path = Path(__file__).parent / "corpus" / "parquet_bits_wrong"
    done = subprocess.run(
        [sys.executable, "-m", "homing", "replay", path], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert errors(done.stderr).startswith("downstop: parquet_bits_wrong")
    assert errors(done.stderr).count("\n") == 1


def with_column(header: str, cell: str) -> str:
    """The good log with one more column of the same cell throughout."""
    return "\n".join(f"{line},{header if i == 0 else cell}" for i, line in enumerate(GOOD.splitlines()))


MIXED: list[tuple[str, str, str]] = [
    (
        "counts with fractions",
        "t_ms,counts\n0,1\n20,2.5\n40,3.5\n60,4\n",
        "2 counts are not whole, the first in data row 1",
    ),
    ("a word among counts", "t_ms,counts\n0,1\n20,x\n40,3\n", '1 x unreadable cell in "counts": rows 1'),
    ("readings of another kind", with_column("limit", "2"), "data row 0 holds '2'"),
    ("an unknown unit", GOOD.replace("t_ms", "time [min]"), '"min" in its header is no unit that is known'),
    ("another encoding", with_column("note \xe9", "\xe9"), "read as Latin-1"),
]


@pytest.mark.parametrize(("name", "text", "words"), MIXED, ids=[each[0] for each in MIXED])
def test_what_can_still_be_read_is_read_and_said(
    name: str, text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "mixed.csv"
    path.write_bytes(text.encode("latin-1"))
    assert program(["replay", str(path)]) == 0
    assert words in capsys.readouterr().out


def test_one_damaged_reading_does_not_lose_the_sensor(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{20 * i},{i},{i % 2}" for i in range(200)]
    rows[7] = "140,7,0\xff"
    path.write_text("t_ms,counts,limit\n" + "\n".join(rows))
    log = read_log(path)
    assert log[Role.SENSOR][6:9].tolist()[::2] == [0.0, 0.0]
    assert [(each.column, each.rows) for each in log.defects] == [("limit", (7,))]


@pytest.mark.parametrize(
    ("start", "cell"),
    [(b"", b"7"), (GOOD.encode(), b"7"), (b"{", b"7"), (GOOD.encode("utf-16"), "7".encode("utf-16-le"))],
    ids=["alone", "after rows", "JSON", "UTF-16"],
)
def test_a_file_of_one_line_is_left_after_a_block(start: bytes, cell: bytes, tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.write(start + cell * (2 * textfile.BLOCK_BYTES))
        file.truncate(2 << 30)
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match=rf"long.csv, line {1 + start.count(10)} must end within"):
            read_log(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 10 * textfile.BLOCK_BYTES


def test_zeros_behind_a_log_take_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "preallocated.csv"
    with path.open("wb") as file:
        file.write(up_and_down().text().encode())
        file.truncate(200 << 20)
    tracemalloc.start()
    try:
        log = read_log(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(log) == 400
    assert any("zero bytes at the end ignored" in note for note in log.notes)
    assert peak < 10 * textfile.BLOCK_BYTES


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes")
def test_a_pipe_is_read_as_a_file_is(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    writing = threading.Thread(target=path.write_bytes, args=(GOOD.encode(),))
    writing.start()
    log = read_log(path)
    writing.join()
    assert len(log) == 10


def test_text_after_a_block_of_zeros_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(textfile, "BLOCK_BYTES", 1000)
    path = tmp_path / "holes.csv"
    path.write_bytes(GOOD.encode() + b"\0" * 3000 + b"200,3\n")
    with pytest.raises(InputError, match=r"holes.csv, line 12 must end within 1000 bytes"):
        read_log(path)


def test_a_refused_log_leaves_no_folder_behind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "bad.csv"
    file.write_bytes(bytes(range(256)))
    assert program(["replay", str(file), "--out", str(tmp_path / "new" / "report"), "--quiet"]) == 2
    assert "this is binary" in capsys.readouterr().err
    assert [each.name for each in tmp_path.iterdir()] == ["bad.csv"]
