"""MCAP files are written here by the format's own library and read back."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from replay import read_log
from replay.units import Role
from sensor_models.errors import InputError

writer = pytest.importorskip("mcap.writer", reason="the extra for MCAP is not installed")

ROWS = 60


def write(path: Path, topics: dict[str, dict[str, list[float]]], encoding: str = "json") -> Path:
    with path.open("wb") as stream:
        out = writer.Writer(stream)
        out.start()
        for topic, fields in topics.items():
            channel = out.register_channel(topic=topic, message_encoding=encoding, schema_id=0)
            for i in range(ROWS):
                data = json.dumps({name: values[i] for name, values in fields.items()}).encode()
                out.add_message(channel, log_time=i * 20_000_000, publish_time=i * 20_000_000, data=data)
        out.finish()
    return path


def lift_rows() -> dict[str, list[float]]:
    return {"counts": list(range(1000, 1000 - ROWS, -1)), "command": [-0.25] * ROWS}


def test_messages_become_rows(tmp_path: Path) -> None:
    log = read_log(write(tmp_path / "run.mcap", {"/lift": lift_rows()}))
    assert log[Role.COUNTS].tolist() == lift_rows()["counts"]
    assert np.diff(log.time_s) == pytest.approx(0.020)


def test_fields_of_several_topics_are_told_apart(tmp_path: Path) -> None:
    path = write(tmp_path / "two.mcap", {"/lift": lift_rows(), "/drive": {"speed": [1.0] * ROWS}})
    columns = {"time": {"column": "log_time [ns]", "unit": "ns"}, "counts": {"column": "lift.counts"}}
    log = read_log(path, columns)
    assert set(log[Role.COUNTS][np.isfinite(log[Role.COUNTS])].tolist()) == set(lift_rows()["counts"])


def test_other_encodings_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="must hold messages encoded as JSON"):
        read_log(write(tmp_path / "raw.mcap", {"/lift": lift_rows()}, encoding="cdr"))


def test_a_file_that_breaks_off_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "torn.mcap", {"/lift": lift_rows()})
    path.write_bytes(path.read_bytes()[:200])
    with pytest.raises(InputError, match="breaks off or is damaged"):
        read_log(path)
