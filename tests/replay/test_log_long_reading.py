"""Long logs are read without going through their lines; that must give the same log."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from replay import Log, delimited, read_log

COUNT = 4000
HEADER = "t_ms,counts,command,limit,vbat,state"


def plain() -> str:
    """More text than is looked at to find the header; the command is whole at first."""
    rows = (
        f"{20 * i},{i % 900},{'0' if i < 900 else f'{(i % 7) / 7:.3f}'},{int(i % 900 < 40)},12.{i % 50:02d},"
        f"{'in' if i % 900 < 450 else 'out'}"
        for i in range(COUNT)
    )
    return "\n".join([HEADER, *rows]) + "\n"


def lined(change: Callable[[list[str]], None]) -> str:
    lines = plain().splitlines()
    change(lines)
    return "\n".join(lines) + "\n"


def cell(row: int, column: int, text: str) -> Callable[[list[str]], None]:
    def change(lines: list[str]) -> None:
        cells = lines[row].split(",")
        cells[column] = text
        lines[row] = ",".join(cells)

    return change


def first_half(column: int, text: str) -> Callable[[list[str]], None]:
    def change(lines: list[str]) -> None:
        for row in range(1, COUNT // 2):
            cell(row, column, text)(lines)

    return change


LOGS: dict[str, str] = {
    "plain": plain(),
    "torn": plain()[:-12],
    "torn in its last cell": plain()[:-2],
    "blank lines behind": plain() + "\n\n",
    "Windows line ends": plain().replace("\n", "\r\n"),
    "decimal comma": plain().replace(",", ";").replace(".", ","),
    "decimal comma and a point": plain().replace(",", ";").replace(".", ",").replace(";out", ";o.ut"),
    "tabs": plain().replace(",", "\t"),
    "comment above": "# logger 3\n" + plain(),
    "comment within": lined(lambda lines: lines.insert(2000, "# half way")),
    "blank line within": lined(lambda lines: lines.insert(2000, "")),
    "header again": lined(lambda lines: lines.insert(2000, HEADER)),
    "units under the header": lined(lambda lines: lines.insert(1, "ms,,,,V,")),
    "line too short": lined(lambda lines: lines.__setitem__(3000, "1,2,3")),
    "line too long": lined(lambda lines: lines.__setitem__(3000, lines[3000] + ",7")),
    "separator at the end": plain().replace("\n", ",\n").replace("state,", "state"),
    "words in the numbers": lined(cell(1500, 4, "low")),
    "infinite": lined(cell(1500, 4, "inf")),
    "nan": lined(cell(1500, 4, "nan")),
    "empty cells": lined(first_half(4, "")),
    "empty last cells": lined(first_half(5, "")),
    "null words": lined(first_half(3, "null")),
    "padded": plain().replace(",", " , "),
    "leading zeros": lined(first_half(5, "007")),
    "signed": lined(first_half(1, "+5")),
    "large": lined(cell(1500, 1, "99999999999999999999")),
    "quotes": plain().replace("out", '"o,ut"'),
    "one column of header words": lined(cell(1500, 5, "state")),
}


def contents(log: Log) -> list[object]:
    arrays = [log.time_s, log.row, log.starts, log.breaks, *log.values.values()]
    plain = [log.defects, log.notes, log.rows, log.first_line, list(log.values), dict(log.roles)]
    return [*plain, *(array.tolist() for array in arrays if array.dtype.kind != "f")] + [
        np.nan_to_num(array, nan=-12345.0).tolist() for array in arrays if array.dtype.kind == "f"
    ]


@pytest.mark.parametrize("name", LOGS)
def test_both_ways_give_the_same_log(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(LOGS[name].encode())
    assert path.stat().st_size > delimited.TOP_BYTES
    quick = read_log(path)
    monkeypatch.setattr(delimited, "_regular", lambda *_: None)
    assert contents(read_log(path)) == contents(quick)


@pytest.mark.parametrize("name", ["plain", "torn", "decimal comma", "comment above", "empty cells", "nan"])
def test_usual_logs_need_no_look_at_their_lines(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(LOGS[name].encode())
    monkeypatch.setattr(delimited, "_table", lambda *_: pytest.fail("every line was gone through"))
    assert len(read_log(path)) == COUNT - (name == "torn")
