"""Logs whose scale nobody knows: counts, and verdicts that need no millimetres."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from logfiles import write
from matchrun import match_log
from test_visits import story

import homing
import replay
from homing.liftfile import load_lift
from homing.report.tracefile import write_trace
from replay.commands import _prevention_text
from replay.diagnosis import Cause, Verdict
from replay.diagnosis_text import diagnosis_text
from replay.prevention import prevention


def far(tmp_path: Path, stop: float, last: float) -> replay.Log:
    """Four visits alike, and one that goes ``last`` past the trip; half a millimetre a count."""
    head, *rows = story(visits=4, stop=stop).strip().split("\n")
    more = story(visits=1, stop=last).strip().split("\n")[1:]
    shift = float(rows[-1].split(",")[0])
    moved = [f"{float(t) + shift:.3f},{rest}" for t, rest in (row.split(",", 1) for row in more)]
    return replay.read_log(write(tmp_path, "\n".join([head, *rows, *moved]) + "\n"))


def test_a_visit_that_stands_out_is_an_overrun_at_any_scale(tmp_path: Path) -> None:
    found = replay.diagnose(far(tmp_path, stop=3.0, last=18.0))
    assert found.verdict is Verdict.OVERRUN
    assert found.bad_visit is not None
    assert found.bad_visit.number == 5
    assert "times as far" in found.reason
    assert "mm" not in found.reason


def test_visits_alike_are_none(tmp_path: Path) -> None:
    found = replay.diagnose(far(tmp_path, stop=17.0, last=17.0))
    # 17 mm would be past a limit of 15, but nobody knows that they are mm
    assert found.verdict is not Verdict.OVERRUN


def test_a_single_far_visit_names_the_missing_scale(tmp_path: Path) -> None:
    log = replay.read_log(write(tmp_path, story(visits=1, stop=18.0)))
    found = replay.diagnose(log, limit_mm=10.0)
    assert found.verdict is Verdict.CANNOT_TELL
    assert [each.cause for each in found.findings] == [Cause.CANNOT_TELL]
    assert "mm_per_count" in found.findings[0].for_[0]
    assert any("10 mm cannot be held" in note for note in found.notes)


def test_the_text_speaks_in_counts(tmp_path: Path) -> None:
    match = match_log(Cause.LATE_LOOP, 1)
    found = replay.diagnose(match.log(tmp_path, scaled=False))
    text = diagnosis_text(found)
    assert found.verdict is Verdict.OVERRUN
    assert found.bad_visit is not None
    assert "counts/s" in text
    assert " mm" not in text.replace("mm_per_count", "")
    scaled = replay.diagnose(match.log(tmp_path), limit_mm=match.limit)
    assert scaled.bad_visit is not None
    counts = scaled.bad_visit.overtravel / match.robot.per_count
    said = re.search(r"went (\d+) counts past", text)
    assert said is not None
    # the working scale rounds thresholds elsewhere, and the edge with them
    assert float(said.group(1)) == pytest.approx(counts, abs=2.0)


@pytest.mark.parametrize("run", [None, 0, 2, 4, 7, 10])
def test_healthy_traces_are_no_overruns(tmp_path: Path, run: int | None) -> None:
    """A short log is no overrun only because its own range is small."""
    trace = homing.simulate(load_lift(None), 0, run).trace
    found = replay.diagnose(replay.read_log(write_trace(trace, tmp_path / "trace.csv")))
    assert found.verdict is not Verdict.OVERRUN
    assert all(each.cause is Cause.CANNOT_TELL for each in found.findings)


def test_a_lift_file_of_another_lift_is_left_out(tmp_path: Path) -> None:
    match = match_log(Cause.LATE_LOOP, 1)
    log = match.log(tmp_path, scaled=False)
    own = load_lift(None)
    ways = match.robot.travel / match.robot.per_count
    other = own.replace({"drive.spool_diameter_mm": 3.0 * own.lift.travel_mm / ways * _per_mm(own)})
    found = replay.diagnose(log, other)
    assert not found.lift_fits
    assert not found.scaled
    assert "does not match this log" in found.notes[0]
    assert found.findings[0].cause is Cause.LATE_LOOP
    assert prevention(found, other) is None
    assert _prevention_text(None, other) == ""


def _per_mm(lift: homing.Lift) -> float:
    """Spool diameter for one mm a count."""
    return float(lift.drive.spool_diameter_mm) / float(lift.drive.mm_per_count)
