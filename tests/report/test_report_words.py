"""Numbers and rows as people read them."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from report_fakes import fake_lift, fake_requirements, fake_run, fake_verification

from homing.report import rows, wording
from homing.report.cautions import CAUTIONS, cautions
from homing.report.numbers import bounds, decimals, measure, percent, plain, setting
from homing.results import BUDGET_PARTS, METRICS

NAN = math.nan


@pytest.mark.parametrize(
    ("scale", "places"), [(15.0, 1), (2.0, 2), (80.0, 1), (0.0, 2), (640.0, 0), (0.01, 2), (NAN, 2)]
)
def test_three_figures_at_most_two_decimals(scale: float, places: int) -> None:
    assert decimals(scale) == places


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [(1.234, 1, "1.2"), (NAN, 1, "none"), (-0.004, 2, "0.00"), (-0.006, 2, "-0.01"), (math.inf, 1, "no end")],
)
def test_plain(value: float, places: int, text: str) -> None:
    assert plain(value, places) == text


def test_measure_has_a_unit_and_counts_have_none() -> None:
    assert measure(8.25, "mm") == "8.25 mm"
    assert measure(3.0, "") == "3"
    assert measure(NAN, "mm") == "none"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "0 %"),
        (1.0, "100 %"),
        (0.0015, "0.15 %"),
        (0.0123, "1.2 %"),
        (0.5, "50 %"),
        (0.9995, "99.95 %"),
        (1e-7, "under 0.01 %"),
        (1 - 1e-7, "over 99.99 %"),
        (NAN, "none"),
    ],
)
def test_percent_is_never_rounded_to_none_or_all(share: float, text: str) -> None:
    assert percent(share) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.0, 0.0015, "0-0.15"), (0.153, 0.9, "15-90"), (1e-9, 1.0, "<0.001-100"), (0.00013, 0.02, "0.013-2"),
     (NAN, NAN, "none")],
)  # fmt: skip
def test_bounds(low: float, high: float, text: str) -> None:
    assert bounds(low, high) == text


def test_settings_of_any_kind() -> None:
    assert setting(True) == "yes"
    assert setting(0.1 + 0.2) == "0.3"
    assert setting([1.5, "a"]) == "[1.5, a]"
    assert setting({"shape": "disc"}) == "{shape = disc}"
    assert setting(None) == "none"


def test_every_metric_and_part_has_words() -> None:
    assert set(wording.METRICS) == set(METRICS)
    assert set(wording.BUDGET) == set(BUDGET_PARTS)


def test_requirement_row_carries_the_digits_of_its_limit() -> None:
    row = rows.requirement_row(fake_requirements(False)[0])
    assert (row.limit, row.nominal, row.worst, row.margin) == ("15.0", "8.7", "16.3", "-1.2")
    assert (row.failure, row.bounds) == ("2.1 %", "1.5-2.7")
    assert row.verdict == "FAILS"


def test_headline_counts() -> None:
    assert rows.headline(fake_verification(True)) == "All 7 requirements hold."
    assert rows.headline(fake_verification(False)) == "1 of 7 requirements falls short."


def test_reasons_and_starts_count_every_run() -> None:
    verification = fake_verification()
    assert rows.reason_rows(verification) == (("moved further than the travel guard allows", 9),)
    starts = rows.start_rows(verification)
    assert [start for start, _ in starts][:2] == ["nominal", "at stop"]
    assert sum(sum(counts) for _, counts in starts) == 2000


def test_budget_rows_join_up_to_the_stop_distance() -> None:
    stop = rows.longest_stop(fake_run())
    assert stop is not None
    told = rows.budget_rows(stop.budget_mm)
    assert told[0].start_mm == 0.0
    assert all(one.end_mm == two.start_mm for one, two in pairwise(told))
    assert told[-1].end_mm == pytest.approx(stop.distance_mm)


def test_coverage_says_how_faults_were_weighted() -> None:
    verification = fake_verification()
    assert rows.coverage_line(verification) == "Diagnostic coverage (equal weights): 71 %."
    weighted = replace(verification, lift=fake_lift(fault_rates={"hub slipped": 2.0}))
    assert "weighted by [fault_rates]" in rows.coverage_line(weighted)
    none = fake_verification(diagnostic_coverage=None)
    assert "no fault run was unsafe without the guards" in rows.coverage_line(none)


def test_cautions_say_what_must_be_said() -> None:
    text = " ".join(CAUTIONS).lower()
    for word in ("pinch", "snaps back", "energy", "never certifies", "not a safety function"):
        assert word in text
    for word in ("hard stops must hold on their own", "rules", "local codes", "makers", "responsible adult"):
        assert word in text
    assert "pacemakers" not in text
    assert any("pacemakers" in each for each in cautions(magnet=True))
