"""Files are written whole or not at all, and what cannot be written is refused in one sentence."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from report_fakes import fake_trace

from homing.report import check_file, check_folder, write_text, write_trace
from homing.report.files import write_file, write_files
from sensor_models.errors import InputError


def test_folder_is_made_with_those_above_it(tmp_path: Path) -> None:
    assert check_folder(tmp_path / "a" / "b").is_dir()
    assert os.listdir(tmp_path / "a" / "b") == []


def test_file_in_the_place_of_a_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("x")
    with pytest.raises(InputError, match="--out must be a folder that can be written to"):
        check_folder(tmp_path / "taken" / "deeper")


def test_refused_folder_leaves_no_folders_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(**_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("homing.report.files.tempfile.TemporaryFile", full)
    with pytest.raises(InputError, match=r"\(no space left on device\)"):
        check_folder(tmp_path / "a" / "b")
    assert os.listdir(tmp_path) == []


def test_file_in_a_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="--json must be a file that can be written"):
        write_text(tmp_path / "none" / "x.json", "{}")


def test_folder_in_the_place_of_a_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="this is a folder"):
        check_file(tmp_path, key="--json")


@pytest.mark.parametrize("failure", [KeyboardInterrupt(), OSError(28, "No space left on device")])
def test_failure_half_way_keeps_the_old_file_and_nothing_else(tmp_path: Path, failure: BaseException) -> None:
    place = tmp_path / "x.json"
    place.write_text("old")

    def writer(path: Path) -> None:
        path.write_text("half")
        raise failure

    with pytest.raises((KeyboardInterrupt, InputError)):
        write_file(place, writer, key="--json")
    assert place.read_text() == "old"
    assert os.listdir(tmp_path) == ["x.json"]


def test_files_of_a_report_are_readable_as_any_other(tmp_path: Path) -> None:
    write_files(tmp_path, {"a.txt": b"1", "b.txt": b"2"})
    (tmp_path / "plain.txt").write_text("3")
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode
    assert sorted(os.listdir(tmp_path)) == ["a.txt", "b.txt", "plain.txt"]


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_trace_comes_back_as_it_was(tmp_path: Path, suffix: str) -> None:
    import polars

    trace = fake_trace()
    place = write_trace(trace, tmp_path / f"run{suffix}")
    frame = polars.read_csv(place) if suffix == ".csv" else polars.read_parquet(place)
    assert frame.columns == list(trace.columns)
    assert frame["state"].to_list() == [str(state) for state in trace["state"]]
    assert frame["reading_bottom"].to_list() == trace["reading_bottom"].tolist()
    np.testing.assert_array_equal(frame["carriage_mm"].to_numpy(), trace["carriage_mm"])


@pytest.mark.parametrize("name", ["run.txt", "run", "run.xlsx"])
def test_other_suffixes_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=r"--trace must end in \.csv or \.parquet"):
        write_trace(fake_trace(), tmp_path / name)
    assert os.listdir(tmp_path) == []
