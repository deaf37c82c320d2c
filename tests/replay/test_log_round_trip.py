"""A log written in a random dialect is read back equal, bit for bit."""

from __future__ import annotations

import io
import json
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replay import Log, Role, read_log
from replay.defects import DefectKind

BOOLEANS = (("1", "0"), ("true", "false"), ("TRUE", "FALSE"), ("1.0", "0.0"), ("pressed", "Not Pressed"))
STATES = ("Home", "Go Home", "LOWER_SLOW", "3", "near: home")
UNITS = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
FAST = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def channels(draw: Any) -> dict[str, list[Any]]:
    """Columns of a log: rising stamps in whole microseconds, counts, command, sensor, battery, state."""
    rows = draw(st.integers(3, 30))
    steps = draw(st.lists(st.integers(8_000, 40_000), min_size=rows, max_size=rows))
    count = st.integers(-30_000, 30_000)
    return {
        "t_us": np.cumsum(steps).tolist(),
        "counts": draw(st.lists(count, min_size=rows, max_size=rows)),
        "command": draw(
            st.lists(st.integers(-1000, 1000).map(lambda n: n / 1000), min_size=rows, max_size=rows)
        ),
        "sensor": draw(st.lists(st.booleans(), min_size=rows, max_size=rows)),
        "battery": draw(
            st.lists(st.integers(900, 1400).map(lambda n: n / 100), min_size=rows, max_size=rows)
        ),
        "state": draw(st.lists(st.sampled_from(STATES), min_size=rows, max_size=rows)),
    }


@st.composite
def dialects(draw: Any) -> dict[str, Any]:
    separator = draw(st.sampled_from([",", ";", "\t"]))
    # with a comma between the cells a decimal comma needs quotes
    decimal = draw(st.sampled_from([".", ","]))
    return {
        "separator": separator,
        "decimal": decimal,
        "quote": draw(st.booleans()) or (separator == "," and decimal == ","),
        "bom": draw(st.booleans()),
        "newline": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "pad": draw(st.sampled_from(["", " ", "   "])),
        "last_newline": draw(st.booleans()),
        "unit": draw(st.sampled_from(list(UNITS))),
        "unit_place": draw(st.sampled_from(["name", "bracket", "row"])),
        "booleans": draw(st.sampled_from(BOOLEANS)),
        "blank_lines": draw(st.booleans()),
        "comment": draw(st.booleans()),
        "active": draw(st.sampled_from(["high", "low"])),
    }


def stamp(t_us: int, unit: str) -> str:
    """A stamp in another unit with all its digits, so that reading it back loses nothing."""
    if unit == "s":
        return f"{t_us // 1_000_000}.{t_us % 1_000_000:06d}"
    if unit == "ms":
        return f"{t_us // 1000}.{t_us % 1000:03d}"
    return str(t_us * (1000 if unit == "ns" else 1))


def written(data: dict[str, list[Any]], how: dict[str, Any]) -> str:
    """The log as text in a dialect."""

    def cell(text: str, first: bool) -> str:
        text = text.replace(".", how["decimal"]) if text.lstrip("-").replace(".", "").isdigit() else text
        quoted = f'"{text}"' if how["quote"] else text
        return quoted if first else how["pad"] + quoted

    def line(cells: list[str]) -> str:
        return how["separator"].join(cell(text, i == 0) for i, text in enumerate(cells))

    names = ["t", "Spool counts", "command", "limit", "vbat", "state"]
    units = [how["unit"], "counts", "fraction", "", "V", ""]
    if how["unit_place"] == "name":
        names[0] = f"t_{how['unit']}"
    if how["unit_place"] == "bracket":
        names = [f"{n} [{u}]" if u else n for n, u in zip(names, units, strict=True)]
    lines = ["# invented"] if how["comment"] else []
    lines.append(line(names))
    if how["unit_place"] == "row":
        lines.append(line(units))
    made, not_made = how["booleans"]
    for row in range(len(data["t_us"])):
        on = data["sensor"][row] != (how["active"] == "low")
        lines.append(
            line(
                [
                    stamp(data["t_us"][row], how["unit"]),
                    str(data["counts"][row]),
                    f"{data['command'][row]:.3f}",
                    made if on else not_made,
                    f"{data['battery'][row]:.2f}",
                    data["state"][row],
                ]
            )
        )
        if how["blank_lines"] and row % 3 == 0:
            lines.append("")
    text = how["newline"].join(lines) + (how["newline"] if how["last_newline"] else "")
    return ("\ufeff" if how["bom"] else "") + text


def check(log: Log, data: dict[str, list[Any]]) -> None:
    expected_s = (np.array(data["t_us"]) - data["t_us"][0]) / 1e6
    # stamps written as decimal fractions of a large number keep about 1e-9 s
    np.testing.assert_allclose(log.time_s, expected_s, rtol=0, atol=2e-9)
    np.testing.assert_array_equal(log[Role.COMMAND], data["command"])
    np.testing.assert_array_equal(log[Role.SENSOR], np.array(data["sensor"], dtype=float))
    np.testing.assert_array_equal(log[Role.BATTERY], data["battery"])
    assert log[Role.STATE].tolist() == data["state"]
    np.testing.assert_array_equal(log.row, np.arange(len(data["t_us"])))
    wrapped = any(each.kind is DefectKind.COUNTER_WRAP for each in log.defects)
    if not wrapped:
        np.testing.assert_array_equal(log.counts, data["counts"])
    else:
        # random counts may look like a wrap; what is taken out is then a whole number of wraps
        turns = (log.counts - data["counts"]) / 65536
        np.testing.assert_array_equal(turns, np.round(turns))


@FAST
@given(data=channels(), how=dialects())
def test_separated_text_comes_back(data: dict[str, list[Any]], how: dict[str, Any]) -> None:
    columns = {
        "time": {"column": _name("t", how), "unit": how["unit"]},
        "counts": {"column": _name("Spool counts", how, "counts")},
        "command": {"column": _name("command", how, "fraction"), "unit": "fraction"},
        "sensor": {"column": "limit", "active": how["active"]},
        "battery_v": {"column": _name("vbat", how, "V")},
        "state": {"column": "state"},
    }
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.txt"
        path.write_bytes(written(data, how).encode("utf-8"))
        log = read_log(path, columns)
    assert log.rows == len(data["t_us"])
    check(log, data)


def _name(name: str, how: dict[str, Any], unit: str | None = None) -> str:
    unit = how["unit"] if unit is None else unit
    if how["unit_place"] == "bracket":
        return f"{name} [{unit}]"
    return f"t_{how['unit']}" if how["unit_place"] == "name" and name == "t" else name


@FAST
@given(data=channels(), as_text=st.booleans())
def test_json_lines_and_parquet_come_back(data: dict[str, list[Any]], as_text: bool) -> None:
    table = {
        "time_us": data["t_us"],
        "counts": data["counts"],
        "command": data["command"],
        "sensor": data["sensor"],
        "battery_v": data["battery"],
        "state": data["state"],
    }
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.bin"
        if as_text:
            rows = [dict(zip(table, row, strict=True)) for row in zip(*table.values(), strict=True)]
            path.write_text("\n".join(json.dumps(row) for row in rows))
        else:
            stream = io.BytesIO()
            pl.DataFrame(table).write_parquet(stream)
            path.write_bytes(stream.getvalue())
        log = read_log(path)
    check(log, data)


@FAST
@given(data=channels(), changes_only=st.booleans())
def test_the_long_layout_comes_back(data: dict[str, list[Any]], changes_only: bool) -> None:
    names = {"counts": "counts", "command": "command", "sensor": "limit", "battery": "vbat", "state": "mode"}
    lines, last = ["time_us,name,value"], {}
    for row, t_us in enumerate(data["t_us"]):
        # the counts are always written, so that every loop has a record
        for key, name in names.items():
            value = data[key][row]
            text = str(value).lower() if key == "sensor" else str(value)
            if not changes_only or key == "counts" or last.get(name) != text:
                lines.append(f"{t_us},{name},{text}")
            last[name] = text
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text("\n".join(lines))
        log = read_log(path)
    assert len(log) == len(data["t_us"])
    np.testing.assert_array_equal(log[Role.COMMAND], data["command"])
    np.testing.assert_array_equal(log[Role.SENSOR], np.array(data["sensor"], dtype=float))
    assert log[Role.STATE].tolist() == data["state"]
