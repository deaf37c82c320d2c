"""The pit checklist: short, safety first, weakest points next, and no limit out of the air."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from liftfiles import SENSORS, lift_with

from homing.checklist import MOST_CHECKS, MOST_SECONDS, Check, checklist
from homing.checks.items import Facts, at_least, at_most, between
from homing.checks.running import RUNNING
from homing.checks.safety import SAFETY
from homing.checks.sensing import SENSING
from homing.faults import FAULTS
from homing.report.checklist_page import checklist_text, render_checklist
from homing.report.page import write_report
from homing.requirements import FIXED_NAMES
from homing.verify import verify

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import Verification


@pytest.fixture(scope="module")
def found(example: Lift) -> Verification:
    return verify(example, runs=600)


@pytest.fixture(scope="module")
def checks(found: Verification) -> tuple[Check, ...]:
    return checklist(found)


def named(checks: tuple[Check, ...]) -> Mapping[str, Check]:
    return {check.title: check for check in checks}


def every_check(verification: Verification) -> Mapping[str, Any]:
    """All items of a lift, also those for which the list has no room."""
    items = [make(Facts(verification)) for make in (*SAFETY, *SENSING, *RUNNING)]
    return {item.title: item for item in items if item is not None}


def test_it_is_short_and_safety_comes_first(checks: tuple[Check, ...]) -> None:
    assert len(checks) <= MOST_CHECKS == 15
    assert sum(check.seconds for check in checks) <= MOST_SECONDS == 300
    assert [check.number for check in checks] == list(range(1, len(checks) + 1))
    safety = [check.safety for check in checks]
    assert safety == sorted(safety, reverse=True)
    assert safety.count(True) >= 3
    assert checks[0].title == "Power off, lift down"
    assert len(named(checks)) == len(checks)


def test_the_rest_follows_the_weak_points(checks: tuple[Check, ...]) -> None:
    weights = [check.weight for check in checks if not check.safety]
    assert weights == sorted(weights, reverse=True)
    assert weights[0] > weights[-1]
    assert all(check.why for check in checks if check.weight > 0.0)


def test_another_weak_point_comes_to_the_top(found: Verification) -> None:
    harmless = [
        replace(each, shares={**each.shares, "unsafe": float(each.fault == "supply dip")})
        for each in found.faults
    ]
    calm = [replace(each, p99=0.0) for each in found.requirements]
    changed = replace(found, faults=tuple(harmless), requirements=tuple(calm))
    top = next(check for check in checklist(changed) if not check.safety)
    assert top.title.startswith("Battery")
    assert top.why == "supply dip: 100 % of its runs end unsafe"


def test_limits_are_those_of_this_lift(found: Verification, example: Lift) -> None:
    told, view = every_check(found), found.sensor
    assert view is not None
    trip = told["Trip height"].limit
    assert view.trip_band_mm[0] <= trip.low < trip.high <= view.trip_band_mm[1]
    assert trip.low - view.trip_band_mm[0] < 0.1
    assert (told["Gap to the target"].limit.low, told["Gap to the target"].limit.high) == (2.0, 4.0)
    # 13 V +- 0.8 V of the file
    assert told["Battery at rest"].limit.words == "12.2 to 13.8 V"
    current_a = next(each.p99 for each in found.requirements if each.name == "peak_current_a")
    loaded = told["Battery under load"].limit.low
    assert loaded == pytest.approx(12.2 - example.battery.resistance_ohm * current_a, abs=0.1)
    # 20 ms +- three times 3 ms, and the late loop of the file
    assert told["Loop time, usual"].limit.words == "11 to 29 ms"
    assert told["Loop time, longest"].limit.words == "at most 120 ms"
    assert told["Zero twice"].limit.high == example.routine.recheck_tolerance_mm
    assert told["Height told against ruler"].limit.words == "98.0 to 102.0 mm"
    assert told["Loose string"].limit.high == example.requirements.slack_mm


def test_a_changed_lift_changes_the_limits(example: Lift) -> None:
    changed = example.replace({"controller.period_ms": 10.0, "requirements.slack_mm": 5.5})
    told = every_check(verify(changed, runs=100))
    assert told["Loop time, usual"].limit.words == "5 to 15 ms"
    assert told["Loose string"].limit.words == "at most 5.5 mm"


@pytest.mark.parametrize("kind", ["reflective", "distance", "contact", "stall"])
def test_every_kind_of_sensor_has_its_list(kind: str) -> None:
    changes = {"sensor": [SENSORS[kind]], "routine.fast_speed_mm_s": 60.0}
    found = verify(lift_with(changes), runs=100)
    told = every_check(found)
    assert ("Switch has room left" in told) is (kind == "contact")
    assert ("Volts at the stop" in told) is (kind == "distance")
    assert ("Trip height" in told) is (kind != "stall")
    # without a tolerance there is nothing to hold a gap or a battery against
    assert "Gap to the target" not in told
    assert "Battery at rest" not in told
    assert len(checklist(found)) >= 8


def test_what_checks_name_exists(found: Verification) -> None:
    faults = {fault.name for fault in FAULTS}
    for item in every_check(found).values():
        assert set(item.faults) <= faults, item.title
        assert set(item.requirements) <= set(FIXED_NAMES), item.title
        assert item.origin
        assert item.limit.unit in {"", "mm", "ms", "V"}
        assert item.seconds > 0


@pytest.mark.parametrize(
    ("limit", "low", "high", "words"),
    [
        (between(30.01, 33.39, "mm"), 30.1, 33.3, "30.1 to 33.3 mm"),
        (at_most(6517.4, "ms"), math.nan, 6517, "at most 6517 ms"),
        (at_least(10.34, "V"), 10.4, math.nan, "at least 10.4 V"),
        (between(2.0, 4.0, "mm"), 2.0, 4.0, "2.0 to 4.0 mm"),
    ],
)
def test_limits_are_rounded_inwards(limit: Any, low: float, high: float, words: str) -> None:
    assert limit.low == pytest.approx(low, nan_ok=True)
    assert limit.high == pytest.approx(high, nan_ok=True)
    assert limit.words == words


def test_the_page_and_the_text_hold_every_check(found: Verification, checks: tuple[Check, ...]) -> None:
    page, text = render_checklist(found, checks), checklist_text(checks)
    for check in checks:
        assert check.limit in page
        assert check.limit in text
        assert check.title in page
    assert page.count('class="box"><span>') == len(checks)
    assert "never certifies" in page
    assert not re.search(r"<(script|link|img)\b|https?:", page)


def test_the_report_links_it(found: Verification, checks: tuple[Check, ...], tmp_path: Path) -> None:
    page = write_report(found, tmp_path / "with", checks)
    assert (page.parent / "checklist.html").exists()
    assert 'href="checklist.html"' in page.read_text(encoding="utf-8")
    alone = write_report(found, tmp_path / "without")
    assert not (alone.parent / "checklist.html").exists()
    assert "checklist.html" not in alone.read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("chromium") is None, reason="needs the browser chromium to print")
def test_it_prints_on_one_page(found: Verification, checks: tuple[Check, ...], tmp_path: Path) -> None:
    page, sheet = tmp_path / "checklist.html", tmp_path / "checklist.pdf"
    page.write_text(render_checklist(found, checks), encoding="utf-8")
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    command += [f"--print-to-pdf={sheet}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    assert re.findall(rb"/Count (\d+)", sheet.read_bytes()) == [b"1"]
