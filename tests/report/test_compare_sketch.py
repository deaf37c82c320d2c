"""The mounting sketch measures right: on paper, in its file, and across a break."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from compare_fakes import advised_comparison, fake_advice, small_comparison
from hypothesis import given
from hypothesis import strategies as st

from homing.compare.results import CandidateResult
from homing.report.figures.folding import BREAK_MM, KEPT_MM, fold
from homing.report.figures.paper import SHEET_MM, Drawing, to_figure, to_pdf, to_svg
from homing.report.figures.sketch import mounting_sketch, spread
from homing.report.figures.sketchplan import Plan, plan_of

NAMES = ("bar_magnet", "disc_magnet", "head_on_magnet", "strip_infrared", "distance_infrared", "roller_lever")
HEIGHTS = st.lists(st.floats(-200.0, 2000.0), min_size=1, max_size=10)


def candidate(name: str) -> CandidateResult:
    return next(each for each in small_comparison().candidates if each.name == name)


def plan(name: str) -> Plan:
    made = plan_of(candidate(name))
    assert made is not None
    return made


def element(svg: str, name: str) -> dict[str, float]:
    """Ends of a line of the drawing in user units."""
    for each in ElementTree.fromstring(svg).iter():
        if each.get("id") == name:
            return {key: float(each.attrib[key]) for key in ("x1", "y1", "x2", "y2")}
    raise AssertionError(f"no {name} in the drawing")


def length(svg: str, name: str) -> float:
    ends = element(svg, name)
    return float(abs(complex(ends["x2"] - ends["x1"], ends["y2"] - ends["y1"])))


def test_user_unit_is_a_millimetre() -> None:
    root = ElementTree.fromstring(to_svg(mounting_sketch(plan("bar_magnet")), "title"))
    width, height = SHEET_MM
    assert root.get("width") == f"{width:g}mm"
    assert root.get("height") == f"{height:g}mm"
    assert root.get("viewBox") == f"0 0 {width:g} {height:g}"


@pytest.mark.parametrize("name", NAMES)
def test_known_distances_measure_right(name: str) -> None:
    made = plan(name)
    svg = to_svg(mounting_sketch(made), "title")
    assert length(svg, "check-across") == pytest.approx(50.0, abs=0.002)
    assert length(svg, "check-upright") == pytest.approx(50.0, abs=0.002)
    assert length(svg, "dimension-trip") == pytest.approx(made.trip, abs=0.002)
    assert length(svg, "dimension-sensor") == pytest.approx(abs(made.level), abs=0.002)


def test_gap_measures_right() -> None:
    svg = to_svg(mounting_sketch(plan("strip_infrared")), "title")
    assert length(svg, "dimension-gap") == pytest.approx(candidate("strip_infrared").gap_mm, abs=0.002)


def test_advised_height_moves_trip_and_sensor_alike() -> None:
    found = advised_comparison()
    assert found.advice is not None
    before, after = plan_of(found.best), plan_of(found.best, found.advice)
    assert before is not None
    assert after is not None
    moved = found.advice.best_mm - found.best.mount_mm
    assert after.mount - before.mount == pytest.approx(moved)
    assert after.trip - before.trip == pytest.approx(moved)
    svg = to_svg(mounting_sketch(after), after.title)
    assert "as advised" in svg
    assert length(svg, "dimension-trip") == pytest.approx(after.trip, abs=0.002)


def test_long_way_to_the_sensor_is_broken_and_says_how_much_is_left_out() -> None:
    found = candidate("strip_infrared")
    advice = replace(fake_advice(small_comparison()), sensor=found.name, best_mm=420.0)
    made = plan_of(found, advice)
    assert made is not None
    svg = to_svg(mounting_sketch(made), made.title)
    assert svg.count("mm left out") >= 2
    assert length(svg, "dimension-trip") < SHEET_MM[1]
    assert length(svg, "dimension-gap") == pytest.approx(found.gap_mm, abs=0.002)


@pytest.mark.parametrize("name", ["far_magnet", "hard_stop"])
def test_nothing_to_mount_is_not_drawn(name: str) -> None:
    assert plan_of(candidate(name)) is None


@pytest.mark.parametrize("name", NAMES)
def test_everything_stays_on_the_sheet(name: str) -> None:
    width, height = SHEET_MM
    for mark in mounting_sketch(plan(name)).marks:
        for x, y in getattr(mark, "points", None) or (mark.at,):  # type: ignore[union-attr]
            assert 0.0 <= x <= width
            assert 0.0 <= y <= height


def test_same_bytes_every_time() -> None:
    first, second = (mounting_sketch(plan("bar_magnet")) for _ in range(2))
    assert to_svg(first, "t") == to_svg(second, "t")
    assert to_pdf(first) == to_pdf(second)


def test_pdf_page_has_the_size_of_the_sheet() -> None:
    box = re.search(rb"/MediaBox \[([^\]]*)\]", to_pdf(mounting_sketch(plan("bar_magnet"))))
    assert box is not None
    points = [float(each) for each in box[1].split()]
    assert points[2:] == pytest.approx([side / 25.4 * 72.0 for side in SHEET_MM], abs=0.01)


def test_figure_has_the_size_of_the_sheet() -> None:
    made = to_figure(Drawing())
    assert [side * 25.4 for side in made.get_size_inches()] == pytest.approx(list(SHEET_MM))


def test_names_are_escaped() -> None:
    drawing = Drawing()
    drawing.words((10.0, 10.0), "a < b & c")
    assert "a &lt; b &amp; c" in to_svg(drawing, "<&>")


@given(HEIGHTS)
def test_folding_keeps_order_room_and_true_lengths(heights: list[float]) -> None:
    low, high = min(heights) - 10.0, max(heights) + 10.0
    folded = fold(heights, 230.0, 240.0, (low, high))
    assert folded.y(low) == pytest.approx(230.0)
    ordered = sorted(heights)
    places = [folded.y(each) for each in ordered]
    assert all(first >= second - 1e-9 for first, second in pairwise(places))
    assert folded.y(high) >= 230.0 - 240.0 - 1e-6
    for first, second in pairwise(ordered):
        if folded.is_true(first, second):
            assert folded.y(first) - folded.y(second) == pytest.approx(second - first, abs=1e-6)


def test_nothing_is_left_out_where_all_of_it_fits() -> None:
    assert fold([0.0, 50.0], 230.0, 170.0, (-10.0, 60.0)).breaks == ()


def test_break_is_as_long_as_it_says() -> None:
    folded = fold([0.0, 600.0], 230.0, 100.0, (-10.0, 610.0))
    (only,) = folded.breaks
    assert only.left_out_mm == pytest.approx(600.0 - 2 * KEPT_MM)
    assert folded.y(0.0) - folded.y(600.0) == pytest.approx(2 * KEPT_MM + BREAK_MM)


@given(st.lists(st.floats(20.0, 200.0), min_size=1, max_size=12))
def test_spread_labels_never_overlap(places: list[float]) -> None:
    apart = spread(sorted(places), 4.6, (20.0, 200.0))
    assert len(apart) == len(places)
    assert all(second - first >= 4.6 - 1e-9 for first, second in pairwise(apart))
    assert apart[0] >= 20.0 - 1e-9
    assert apart[-1] <= 200.0 + 1e-9
