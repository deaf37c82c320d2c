"""``downstop compare`` from the command line: exit codes, the contract's JSON, the example, bad input."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from homing.cli import run

SHELVING = Path(__file__).parents[2] / "examples" / "shelving_robot" / "compare_sensors.toml"

CANDIDATE_KEYS = {
    "name", "kind", "mount_mm", "gap_mm", "trip_mm", "release_mm", "hysteresis_mm", "window_mm",
    "seen_probability", "false_trigger_probability", "stop_distance_mm", "margin_mm", "rank", "pass", "why",
}  # fmt: skip
ADVICE_KEYS = {"sensor", "lowest_mm", "highest_mm", "best_mm", "fastest_mm_s"}


@pytest.fixture(scope="module")
def shelving(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The example with magnet, reflective, distance and contact candidates, compared."""
    file = tmp_path_factory.mktemp("compare") / "comparison.json"
    assert run(["compare", str(SHELVING), "--runs", "400", "--quiet", "--json", str(file)]) == 0
    document: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return document


def test_the_json_has_the_keys_of_the_contract(shelving: dict[str, Any]) -> None:
    for candidate in shelving["candidates"]:
        assert set(candidate) >= CANDIDATE_KEYS
        for band in ("trip_mm", "release_mm"):
            assert set(candidate[band]) == {"nominal", "low", "high"}
        assert set(candidate["stop_distance_mm"]) == {"nominal", "worst"}
        assert isinstance(candidate["pass"], bool)
    assert set(shelving["mount_advice"]) >= ADVICE_KEYS


def test_the_example_compares_every_kind(shelving: dict[str, Any]) -> None:
    kinds = {candidate["kind"] for candidate in shelving["candidates"]}
    assert kinds == {"magnet", "reflective", "distance", "contact", "stall"}
    assert [candidate["rank"] for candidate in shelving["candidates"]] == [1, 2, 3, 4, 5, 6, 7, 8]
    by_name = {candidate["name"]: candidate for candidate in shelving["candidates"]}
    assert by_name["far_magnet"]["rank"] == 8
    assert by_name["far_magnet"]["margin_mm"] is None
    assert by_name["disc_magnet"]["pass"] is False
    assert by_name["roller_lever"]["broken_wire"] == "reads made"
    assert "old_switch" not in by_name


def test_a_span_is_settled_within_its_bounds(shelving: dict[str, Any]) -> None:
    bar = next(each for each in shelving["candidates"] if each["name"] == "bar_magnet")
    assert 10 <= bar["mount_mm"] <= 20
    assert 2 <= bar["gap_mm"] <= 4
    assert [each["key"] for each in bar["chosen"]] == ["mount_mm", "gap_mm"]


def test_what_is_taken_over_is_listed_as_assumed(shelving: dict[str, Any]) -> None:
    keys = [each["key"] for each in shelving["assumed"]]
    assert "tolerances.candidate.strip_infrared.mount_mm" in keys
    assert shelving["cautions"]


def test_no_candidate_that_holds_is_no_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SHELVING.read_text(encoding="utf-8").replace("overtravel_mm = 20", "overtravel_mm = 2")
    file = tmp_path / "hopeless.toml"
    file.write_text(text, encoding="utf-8")
    assert run(["compare", str(file), "--runs", "300", "--json", "-", "--quiet"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert not any(candidate["pass"] for candidate in document["candidates"])
    assert "nearest is" in document["notes"][-1]
    assert document["mount_advice"]["best_mm"] is None


def test_one_line_when_quiet(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", "--runs", "300", "--quiet"]) == 0
    out = capsys.readouterr()
    assert out.out.startswith("Shelving robot mast: bottom (magnet) comes first, pass; ")
    assert out.err == ""


def test_loop_periods_of_a_log_are_used(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "log.csv"
    rows = [f"{0.05 * i:.3f},{-i}" for i in range(400)]
    log.write_text("\n".join(["time_s,counts", *rows]) + "\n", encoding="utf-8")
    found = {}
    for more in ((), ("--timing-from", str(log))):
        assert run(["compare", "--runs", "300", "--quiet", "--json", "-", *more]) == 0
        terms = json.loads(capsys.readouterr().out)["mount_advice"]["terms"]
        found[bool(more)] = next(term["mm"] for term in terms if term["name"] == "loop")
    assert found[True] == pytest.approx(180 * 0.050, rel=0.02)  # 180 mm/s, every loop 50 ms
    assert found[True] > found[False]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('name = "far_magnet"', 'name = "disc_magnet"', "must be different for every sensor and candidate"),
        ("mount_mm = [10, 20]", "mount_mm = [20, 10]", "candidate.bar_magnet.mount_mm must"),
        (
            'part = "reflective-2p5mm"',
            'part = "reflective-9mm"',
            "candidate.strip_infrared.part must be one of",
        ),
        (
            "[[300, 340, 12, 0.7]]",
            "[[340, 300, 12, 0.7]]",
            "candidate.strip_infrared.others must have low_mm",
        ),
    ],
)
def test_bad_input_is_one_sentence_that_names_the_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, message: str
) -> None:
    text = SHELVING.read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "bad.toml").write_text(text.replace(old, new), encoding="utf-8")
    out = tmp_path / "report"
    assert run(["compare", str(tmp_path / "bad.toml"), "--out", str(out)]) == 2
    said = capsys.readouterr()
    assert message in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""
    assert not out.exists()


def test_a_file_without_any_sensor_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SHELVING.read_text(encoding="utf-8")
    head, tail = text.index("[[sensor]]"), text.index("# Stopping from")
    (tmp_path / "none.toml").write_text(text[:head] + text[tail:], encoding="utf-8")
    assert run(["compare", str(tmp_path / "none.toml")]) == 2
    assert "[[sensor]] must be given" in capsys.readouterr().err
