"""``downstop replay`` on the command line: text, JSON, report, refusals."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from logfiles import Story, up_and_down, write

from homing.liftfile import load_lift
from replay.commands import replay
from replay.summary import row_ranges
from sensor_models.errors import InputError

LOG_PART = {"rows", "duration_s", "period_ms", "defects", "roles"}


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(
        replay, [str(word) for word in words], standalone_mode=False, catch_exceptions=False
    )


def spoilt() -> Story:
    story = up_and_down()
    t = story.t_ms.copy()
    t[50] = t[49]
    return story.with_stamps(t).without(slice(110, 116))


def test_the_text_says_what_is_in_the_log(tmp_path: Path) -> None:
    result = run(write(tmp_path, spoilt().text()))
    assert result.exit_code == 0
    for words in (
        "rows       394",
        "span       7.980 s",
        "median 20.00 ms",
        '1 x duplicate stamp in "t_ms": rows 50',
        "1 x gap: rows 110",
        "-1500 to 1500 counts/s",
        "1 direction changes",
        '"counts" [counts], known from header',
    ):
        assert words in result.stdout, words


def test_json_to_standard_output_is_alone_there(tmp_path: Path) -> None:
    result = run(write(tmp_path, spoilt().text()), "--json", "-")
    document = json.loads(result.stdout)
    log = document["log"]
    assert set(log) >= LOG_PART
    assert log["rows"] == 394
    assert log["duration_s"] == pytest.approx(7.98)
    assert log["period_ms"]["median"] == pytest.approx(20)
    assert log["period_ms"]["max"] == pytest.approx(140)
    kinds = {each["kind"]: (each["count"], each["rows"]) for each in log["defects"]}
    assert kinds == {"duplicate_stamp": (1, [50]), "gap": (1, [110])}
    assert log["roles"]["time"] == {"column": "t_ms", "unit": "ms", "known_from": "header"}
    assert log["direction_changes"]["count"] == 1
    # without a scale the mm keys are there and null, as the contract says
    assert log["mm_per_count"] is None
    assert log["speed"]["counts_s"] == pytest.approx([-1500.0, 1500.0])
    assert log["speed"]["mm_s"] is None
    # up and down once without a sensor column: no trip in the log, and nothing is claimed
    assert document["verdict"] == "cannot_tell"
    assert [each["cause"] for each in document["findings"]] == ["cannot_tell"]


def test_json_to_a_file_and_quiet(tmp_path: Path) -> None:
    path = write(tmp_path, up_and_down().text())
    result = run(path, "--json", tmp_path / "out.json", "--quiet")
    assert result.output == ""
    assert json.loads((tmp_path / "out.json").read_text())["log"]["defects"] == []


def test_several_logs_give_a_list(tmp_path: Path) -> None:
    one, two = write(tmp_path, up_and_down().text(), "a.csv"), write(tmp_path, spoilt().text(), "b.csv")
    document = json.loads(run(one, two, "--json", "-").stdout)
    assert [each["log"]["file"] for each in document["logs"]] == ["a.csv", "b.csv"]
    text = run(one, two).stdout
    assert text.index("a.csv") < text.index("b.csv")


def test_a_map_and_a_scale(tmp_path: Path) -> None:
    text = up_and_down().text().replace("t_ms,counts", "a,b")
    (tmp_path / "map.toml").write_text(
        '[log]\nmm_per_count = 0.5\ntime = {column = "a", unit = "ms"}\ncounts = {column = "b"}\n'
    )
    document = json.loads(
        run(write(tmp_path, text), "--columns", tmp_path / "map.toml", "--json", "-").stdout
    )
    assert document["log"]["speed"]["mm_s"] == pytest.approx([-750.0, 750.0])
    assert document["log"]["roles"]["counts"]["known_from"] == "mapping"


def test_a_lift_file_gives_the_scale(tmp_path: Path) -> None:
    lift = load_lift(None)
    (tmp_path / "lift.toml").write_text(_built_in())
    document = json.loads(
        run(write(tmp_path, up_and_down().text()), "--lift", tmp_path / "lift.toml", "--json", "-").stdout
    )
    assert document["log"]["mm_per_count"] == pytest.approx(lift.drive.mm_per_count)


def test_a_lift_file_gives_the_columns_too_and_a_map_goes_first(tmp_path: Path) -> None:
    path = write(tmp_path, up_and_down().text().replace("t_ms,counts", "a,b"))
    lift = tmp_path / "lift.toml"
    lift.write_text(_built_in() + '\n[log]\ntime = {column = "a", unit = "ms"}\ncounts = {column = "b"}\n')
    document = json.loads(run(path, "--lift", lift, "--json", "-").stdout)
    assert document["log"]["roles"]["counts"]["column"] == "b"
    (tmp_path / "map.toml").write_text(
        '[log]\ntime = {column = "a", unit = "ms"}\ncounts = {column = "b", invert = true}\n'
    )
    document = json.loads(run(path, "--lift", lift, "--columns", tmp_path / "map.toml", "--json", "-").stdout)
    assert document["log"]["roles"]["counts"]["invert"] is True


def _built_in() -> str:
    import homing

    return (Path(homing.__file__).parent / "data" / "example.toml").read_text()


def test_the_report(tmp_path: Path) -> None:
    lines = ["t_ms,counts,limit,power,vbat,amps,mode,goal"]
    story = spoilt()
    for i, (t, c) in enumerate(zip(story.t_ms, story.counts, strict=True)):
        lines.append(f"{t},{c},{int(i > 300)},{0.1 * (i % 3)},12.5,{i % 4},{'Home' if i < 200 else ''},{i}")
    path = write(tmp_path, "\n".join(lines), "my log.csv")
    folder = tmp_path / "report"
    result = run(path, "--out", folder)
    names = {each.name for each in folder.iterdir()}
    assert {"index.html", "my_log_timeline.png", "my_log_timeline.svg", "replay.json"} <= names
    assert all(name.startswith("my_log_") for name in names - {"index.html", "replay.json"})
    page = (folder / "index.html").read_text()
    assert "my log.csv" in page
    assert "duplicate stamp" in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert (folder / "my_log_timeline.png").read_bytes().startswith(b"\x89PNG")
    assert "index.html" in result.stderr


REFUSED: list[tuple[list[str], str]] = [
    (["--limit", "-3"], "--limit must be a number of millimetres above 0"),
    (["--limit", "nan"], "--limit must be"),
    (["--columns", "none.toml"], "no such file"),
    (["--lift", "none.toml"], "none.toml"),
    (["--json", "nowhere/out.json"], "--json"),
]


@pytest.mark.parametrize(("words", "message"), REFUSED)
def test_refusals(words: list[str], message: str, tmp_path: Path) -> None:
    path = write(tmp_path, up_and_down().text())
    with pytest.raises(InputError) as caught:
        run(path, *words)
    assert message in str(caught.value)


def test_nothing_is_written_when_a_log_is_refused(tmp_path: Path) -> None:
    bad = write(tmp_path, "a,b\n", "bad.csv")
    good = write(tmp_path, up_and_down().text(), "good.csv")
    with pytest.raises(InputError):
        run(good, bad, "--json", tmp_path / "out.json")
    assert not (tmp_path / "out.json").exists()


@pytest.mark.skipif(os.name == "nt", reason="folders are read-only by other means there")
def test_a_file_in_the_way_of_the_report(tmp_path: Path) -> None:
    path = write(tmp_path, up_and_down().text())
    (tmp_path / "report").write_text("in the way")
    with pytest.raises(InputError, match="--out must be a folder"):
        run(path, "--out", tmp_path / "report")


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ([3], "3"),
        ([3, 4, 5, 9], "3-5, 9"),
        (range(0, 40, 2), "0, 2, 4, 6, 8, 10, 12, 14 and 12 more rows (all in --json)"),
    ],
)
def test_rows_are_told_as_ranges(rows: Any, text: str) -> None:
    assert row_ranges(tuple(rows)) == text
