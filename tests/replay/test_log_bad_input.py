"""Files that are no logs: one sentence each, naming the file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from replay import read_log
from replay.summary import Summary
from sensor_models.errors import InputError

BAD: list[tuple[str, bytes, str]] = [
    ("empty", b"", "is empty"),
    ("blank", b" \r\n\n\t\n", "is empty"),
    ("zeros", b"\0" * 300, "is empty"),
    ("comments", b"# nothing\n", "is empty"),
    ("binary", np.random.default_rng(1).bytes(4000), "this is binary"),
    ("header only", b"t_ms,counts\n", "at least two rows"),
    ("one row", b"t_ms,counts\n0,1\n", "at least two rows"),
    ("torn to one row", b"t_ms,counts,v\n0,1,2\n20,1", "at least two rows"),
    ("no header", b"0,1\n20,2\n40,3\n", "must name the columns"),
    ("no time", b"counts,vbat\n" + b"1,12.1\n2,12.2\n" * 5, "no column is known as the time"),
    ("no counts", b"t_ms,vbat\n0,12\n20,12\n40,12\n", "no column is known as the counts"),
    ("all empty", b"t_ms,counts\n0,nan\n20,nan\n40,NaN\n", "counts"),
    ("empty stamps", b"t_ms,counts\n,1\n,2\n,3\n", "time"),
    ("time stands", b"t_ms,counts\n5,1\n5,2\n5,3\n", "time"),
    (
        "prose",
        b"It went down and did not stop.\nThen it threw the string.\nSo we left.\n",
        "no column is known as the time",
    ),
    ("parquet torn", b"PAR1" + b"\x15\x04" * 40, "whole Parquet file"),
    ("json prose", b'{"t_ms": 1\n{"t\nnothing\n', "one JSON object a line"),
    ("json no rows", b'{"t_ms": 1, "counts": 2}\n', "at least two rows"),
    ("json array", b'[{"t_ms": 1, "counts": 2}]\n', ""),
]


@pytest.mark.parametrize(("name", "data", "words"), BAD, ids=[name for name, _, _ in BAD])
def test_a_bad_file_is_refused(name: str, data: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_log(path)
    message = str(caught.value)
    assert message.startswith("bad.csv")
    assert words in message


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(InputError, match="must be a log that can be read"):
        read_log(tmp_path)


def test_stamps_that_stand_or_are_missing_under_a_map(tmp_path: Path) -> None:
    columns = {"time": {"column": "a", "unit": "ms"}, "counts": {"column": "b"}}
    path = tmp_path / "bad.csv"
    for text, words in (
        ("a,b\n5,1\n5,2\n5,3\n", "must advance"),
        ("a,b\n,1\n,2\n,3\n", "a stamp in at least two rows"),
        ("a,b\n9,1\n8,2\n7,3\n", "must advance"),
        ("a,b\n1,nan\n2,\n3,\n", "all its cells are empty"),
        ("a,b\n1,x\n2,y\n3,z\n", "must hold numbers to be the counts; got 'x'"),
    ):
        path.write_text(text)
        with pytest.raises(InputError) as caught:
            read_log(path, columns)
        assert words in str(caught.value), text


def spoilt_bytes(seed: int) -> bytes:
    """A good file of some kind with cuts, swaps and strange characters in it."""
    rng = np.random.default_rng(seed)
    text = KINDS[seed % len(KINDS)]
    data = bytearray(text.encode())
    for _ in range(int(rng.integers(1, 8))):
        at, length = int(rng.integers(0, len(data) + 1)), int(rng.integers(1, 30))
        piece = bytes(rng.choice(list(b'\n\r,;\t"{}[]:.-+eE0123456789naif#\x00\xff'), length).tolist())
        choice = int(rng.integers(0, 4))
        if choice == 0:
            del data[at : at + length]
        elif choice == 1:
            data[at:at] = piece
        elif choice == 2:
            data[at : at + length] = data[: length // 2]
        elif len(data) > 200:
            del data[at:]
    return bytes(data)


_ROWS = range(30)
KINDS = (
    "t_ms,counts,limit,vbat,mode\n" + "".join(f"{20 * i},{i},{i % 2},12.5,Home\n" for i in _ROWS),
    "time [s];pos [mm];out\ns;mm;-\n" + "".join(f"0,{20 * i:03d};{i},5;0,25\r\n" for i in _ROWS),
    "time_us,name,value\n" + "".join(f"{20000 * i},{n},{i}\n" for i in _ROWS for n in ("ticks", "cmd")),
    "".join(f'{{"t_ms": {20 * i}, "pos": {i}, "a": {{"b": "x"}}}}\n' for i in _ROWS),
)


@pytest.mark.parametrize("block", range(4))
def test_spoilt_files_are_read_or_refused_but_never_crash(block: int, tmp_path: Path) -> None:
    read = 0
    for seed in range(block * 60, block * 60 + 60):
        path = tmp_path / "spoilt.log"
        path.write_bytes(spoilt_bytes(seed))
        try:
            log = read_log(path)
        except InputError as error:
            message = str(error)
        else:
            message = Summary.of(log).log.source
            read += 1
        assert "spoilt.log" in message
    assert read > 5, "most spoilt files must still be readable for this test to say anything"
