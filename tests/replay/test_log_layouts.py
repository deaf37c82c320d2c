"""Long and change-only layouts, second header rows, typed files."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from logfiles import rows_of, up_and_down, write

from replay import Role, read_log
from replay.defects import DefectKind
from replay.headers import header, is_unit_row
from replay.units import Unit
from sensor_models.errors import InputError


@pytest.mark.parametrize(
    ("text", "parts", "unit"),
    [
        ("leftEncoder", ("left", "encoder"), None),
        ("encL", ("enc", "l"), None),
        ("Spool ticks", ("spool", "ticks"), Unit.COUNT),
        ("pos [mm]", ("pos", "mm"), Unit.MILLIMETRE),
        ("Height (in)", ("height", "in"), Unit.INCH),
        ("bus_v", ("bus", "v"), Unit.VOLT),
        ("current_mA", ("current", "ma"), Unit.MILLIAMPERE),
        ("out [%]", ("out", "%"), Unit.PERCENT),
        ("elevator.pos", ("elevator", "pos"), None),
        ("time [µs]", ("time", "µs"), Unit.MICROSECOND),
        ("ms", ("ms",), Unit.MILLISECOND),
        ("v", ("v",), None),
        ("S1", ("s", "1"), None),
        ("posMm", ("pos", "mm"), Unit.MILLIMETRE),
    ],
)
def test_headers_come_apart(text: str, parts: tuple[str, ...], unit: Unit | None) -> None:
    head = header(text)
    assert (head.parts, head.unit) == (parts, unit)


def test_a_second_header_row_of_units(tmp_path: Path) -> None:
    text = "time;pos;vbat;mode;gyro\nms;[mm];V;;deg/s\n" + "".join(
        f"{20 * i};{i},5;12,1;Home;0,1\n" for i in range(20)
    )
    log = read_log(write(tmp_path, text))
    assert log.rows == 20
    assert log.time_s[1] == 0.02
    assert log.height_mm is not None
    assert log.height_mm[3] == 3.5
    assert log.first_line == 3


@pytest.mark.parametrize("cells", [["0", "mm"], ["Home", "ms"], ["", ""], ["1.5", "V"]])
def test_data_is_no_unit_row(cells: list[str]) -> None:
    assert not is_unit_row(cells)


@pytest.mark.parametrize(("unit", "mm"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4)])
def test_lengths_become_millimetres(unit: str, mm: float, tmp_path: Path) -> None:
    text = "t_ms,pos\n" + "".join(f"{20 * i},{i / 4}\n" for i in range(20))
    log = read_log(
        write(tmp_path, text), {"time": {"column": "t_ms"}, "counts": {"column": "pos", "unit": unit}}
    )
    assert log.mm_per_count == 1.0
    np.testing.assert_allclose(log.counts, np.arange(20) / 4 * mm, rtol=1e-15)


def test_a_change_only_log_holds_values_for_a_while_only(tmp_path: Path) -> None:
    # the counts are written each loop, the reading once at 1 s, the battery at 0 s and at 12 s
    lines = ["timestamp,key,value"]
    for i in range(700):
        t = 0.02 * i
        if i in (0, 600):
            lines.append(f"{t:.2f},vbat,{12.0 if i == 0 else 11.5}")
        if i == 50:
            lines.append(f"{t:.2f},limit,true")
        lines.append(f"{t:.2f},ticks,{i}")
    path = write(tmp_path, "\n".join(lines))
    log = read_log(path)
    reading, battery = log[Role.SENSOR], log[Role.BATTERY]
    assert np.isnan(reading[:50]).all()
    assert (reading[50:551] == 1).all()
    assert np.isnan(reading[551:]).all()
    assert (battery[:501] == 12.0).all()
    assert np.isnan(battery[501:600]).all()
    assert (battery[600:] == 11.5).all()
    stale = {each.column: each.rows for each in log.defects if each.kind is DefectKind.STALE_CELL}
    assert len(stale["limit"]) == 700 - 551
    assert len(stale["vbat"]) == 99
    longer = read_log(path, {"hold_s": 60.0})
    assert rows_of(longer, DefectKind.STALE_CELL) == []
    assert (longer[Role.SENSOR][50:] == 1).all()


def test_nothing_is_carried_into_a_new_stretch(tmp_path: Path) -> None:
    text = "t_ms,ticks,limit\n"
    text += "".join(f"{20 * i},{i},{1 if i == 2 else ''}\n" for i in range(10))
    text += "".join(f"{20 * i},{i},\n" for i in range(10))
    log = read_log(write(tmp_path, text))
    assert (log[Role.SENSOR][2:10] == 1).all()
    assert np.isnan(log[Role.SENSOR][10:]).all()


def test_records_of_one_loop_with_their_own_stamps_make_one_row(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    lines = ["time_us,channel,val"]
    for i in range(50):
        for name in ("ticks", "vbat", "cmd"):
            lines.append(
                f"{20_000 * i + int(rng.integers(0, 900))},{name},{i % 7 / 10 if name == 'cmd' else i}"
            )
    lines[1:] = sorted(lines[1:], key=lambda line: int(line.split(",")[0]))
    log = read_log(write(tmp_path, "\n".join(lines)))
    assert len(log) == 50
    np.testing.assert_array_equal(log.counts, np.arange(50))


def test_records_without_stamp_or_name_are_named(tmp_path: Path) -> None:
    lines = ["time_ms,name,value", *(f"{20 * i},{name},{i}" for i in range(20) for name in ("ticks", "loop"))]
    lines[3], lines[6] = lines[3].replace("20,", ",", 1), lines[6].replace("loop", "")
    log = read_log(write(tmp_path, "\n".join(lines)))
    assert rows_of(log, DefectKind.EMPTY_CELL) == [2, 5]
    assert (log.rows, len(log)) == (40, 20)


def test_the_long_layout_by_map(tmp_path: Path) -> None:
    lines = ["when what reading".replace(" ", ";")]
    lines += [f"{20 * i};{name};{i}" for i in range(20) for name in ("shaft", "out")]
    columns = {
        "time": {"column": "when", "unit": "ms"},
        "name": {"column": "what"},
        "value": {"column": "reading"},
        "counts": {"column": "shaft"},
    }
    log = read_log(write(tmp_path, "\n".join(lines)), columns)
    np.testing.assert_array_equal(log.counts, np.arange(20))


def test_nested_objects_and_missing_keys_in_json_lines(tmp_path: Path) -> None:
    rows = [
        {"t_ms": 20 * i, "lift": {"pos": i}, "vbat": None if i == 2 else 12.5, "limit": i > 5}
        for i in range(20)
    ]
    del rows[4]["vbat"]
    log = read_log(write(tmp_path, "\n".join(map(json.dumps, rows)), "log.jsonl"))
    np.testing.assert_array_equal(log.counts, np.arange(20))
    assert rows_of(log, DefectKind.EMPTY_CELL) == [2, 4]
    assert log.roles[Role.COUNTS].spec.column == "lift.pos"


def test_a_torn_json_line(tmp_path: Path) -> None:
    rows = [json.dumps({"t_ms": 20 * i, "pos": i}) for i in range(20)]
    rows[7] = rows[7][:9]
    log = read_log(write(tmp_path, "\n".join([*rows, rows[0][:12]]), "log.jsonl"))
    assert rows_of(log, DefectKind.TORN_LAST_LINE) == [20]
    assert rows_of(log, DefectKind.BROKEN_LINE) == [7]
    assert len(log) == 19


def test_dates_in_parquet_become_seconds(tmp_path: Path) -> None:
    start = dt.datetime(2026, 1, 5, 12, 0, 0)
    frame = pl.DataFrame(
        {
            "timestamp": [start + dt.timedelta(milliseconds=20 * i) for i in range(30)],
            "encoder": pl.Series(range(30), dtype=pl.Int32),
            "limit": [i > 20 for i in range(30)],
            "mode": pl.Series(["Home"] * 30, dtype=pl.Categorical),
        }
    )
    frame.write_parquet(tmp_path / "log.parquet")
    log = read_log(tmp_path / "log.parquet")
    np.testing.assert_array_equal(log.time_s, np.arange(30) * 0.02)
    assert log[Role.SENSOR].sum() == 9


def test_nanosecond_stamps_keep_their_digits(tmp_path: Path) -> None:
    # a float holds 1.77e18 ns in steps of 256 ns only
    stamps = 1_767_886_637_037_317_228 + np.arange(20, dtype=np.int64) * 10_000_001
    text = "stamp_ns,ticks\n" + "".join(f"{t},{i}\n" for i, t in enumerate(stamps))
    log = read_log(write(tmp_path, text))
    np.testing.assert_array_equal(log.time_s, np.arange(20) * 10_000_001 / 1e9)


def test_utf_16_and_latin_1(tmp_path: Path) -> None:
    text = up_and_down().text()
    (tmp_path / "a.csv").write_bytes(text.encode("utf-16"))
    warm = text.replace("\n", ",20\n").replace("counts,20", "counts,°C")
    (tmp_path / "b.csv").write_bytes(warm.encode("latin-1"))
    assert len(read_log(tmp_path / "a.csv")) == 400
    assert any("Latin-1" in note for note in read_log(tmp_path / "b.csv").notes)


def test_lines_before_the_header_and_comments_are_skipped_and_said(tmp_path: Path) -> None:
    text = "Robot log\n# shelf lift\nsep=,\n" + up_and_down().text()
    log = read_log(write(tmp_path, text))
    assert log.rows == 400
    assert any("before the header" in note for note in log.notes)
    assert any("comment" in note for note in log.notes)


def test_a_separator_at_the_end_of_every_row(tmp_path: Path) -> None:
    text = up_and_down().text().replace("\n", ",\n").replace("counts,", "counts", 1)
    log = read_log(write(tmp_path, text))
    assert log.defects == ()
    assert len(log) == 400


def test_comma_decimals_between_commas_are_refused(tmp_path: Path) -> None:
    text = "time,counts\n" + "".join(f"0,{i:03d},{i}\n" for i in range(20))
    with pytest.raises(InputError, match="decimal comma"):
        read_log(write(tmp_path, text))


def test_a_dot_for_thousands_beside_decimal_commas_is_unreadable(tmp_path: Path) -> None:
    rows = [f"{20 * i};{i};{'1.234,5' if i == 3 else '12,5'}" for i in range(10)]
    log = read_log(write(tmp_path, "t_ms;counts;vbat\n" + "\n".join(rows)))
    assert rows_of(log, DefectKind.UNREADABLE_CELL) == [3]
