"""Curves and maps: what is drawn is what was found, and the same bytes every time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from compare_fakes import small_comparison

from homing.maps.axes import SPEED_KEY, Axis
from homing.maps.study import MarginMap
from homing.report.figures.curves import candidate_curves, normalised
from homing.report.figures.maps import margin_figure
from homing.report.figures.style import png, svg


def fake_map(margin: Any) -> MarginMap:
    margin = np.asarray(margin, dtype=float)
    rows, columns = margin.shape
    x = Axis(SPEED_KEY, "speed", "approach speed", "mm/s", 150.0, np.linspace(100.0, 200.0, columns))
    y = Axis("sensor.b.mount_mm", "height", "mounting height", "mm", 20.0, np.linspace(0.0, 40.0, rows))
    worst = np.where(np.isnan(margin), -1, 0).astype(np.int8)
    return MarginMap(x, y, margin, worst, ("overtravel_mm",), 16)


def slope() -> Any:
    """Invented: less margin to the right, never made below."""
    margin = np.tile(np.linspace(0.4, -0.6, 12), (12, 1))
    margin[:3] = np.nan
    return margin


def texts(figure: Any) -> list[str]:
    return [each.get_text() for axes in figure.axes for each in axes.texts]


def test_every_curve_is_1_at_its_trip_height() -> None:
    seen = [each for each in small_comparison().candidates if each.view is not None and not each.miss]
    assert {each.kind for each in seen} == {"magnet", "reflective", "distance", "contact"}
    for each in seen:
        assert each.view is not None
        level = np.interp(each.trip_mm.nominal, each.view.x_mm, normalised(each.view))
        # straight lines between the points of a curve that is steep there
        assert level == pytest.approx(1.0, abs=0.05), each.name


def test_every_candidate_has_a_row_and_what_is_never_made_says_so() -> None:
    figure = candidate_curves(small_comparison().candidates)
    labels = [label.get_text() for label in figure.axes[1].get_yticklabels()]
    assert [label.split()[1] for label in labels] == [each.name for each in small_comparison().candidates]
    assert "never made" in texts(figure)
    assert "the hard stop itself" in texts(figure)


def test_curves_alone_of_the_hard_stop_can_be_drawn() -> None:
    stall = [each for each in small_comparison().candidates if each.kind == "stall"]
    assert png(candidate_curves(stall)).startswith(b"\x89PNG")


def test_map_names_the_worst_requirement_and_marks_what_was_advised() -> None:
    figure = margin_figure(fake_map(slope()), {SPEED_KEY: (130.0, "fastest approach as mounted")})
    assert "overtravel" in texts(figure)
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert "fastest approach as mounted: 130 mm/s" in legend
    assert "as it is: 150 mm/s, 20 mm" in legend
    assert {"a requirement is missed", "never made here", "at the limit"} <= set(legend)


def test_mark_beyond_the_axis_is_not_drawn() -> None:
    figure = margin_figure(fake_map(slope()), {SPEED_KEY: (900.0, "fastest approach as mounted")})
    assert not any("fastest" in text.get_text() for text in figure.legends[0].get_texts())


@pytest.mark.parametrize("margin", [np.full((4, 4), np.nan), np.full((4, 4), 0.3), np.full((4, 4), -1.0)])
def test_maps_of_one_piece_can_be_drawn(margin: Any) -> None:
    assert png(margin_figure(fake_map(margin))).startswith(b"\x89PNG")


def test_same_bytes_every_time() -> None:
    first, second = (svg(margin_figure(fake_map(slope())), "m") for _ in range(2))
    assert first == second
    found = small_comparison().candidates
    assert svg(candidate_curves(found), "c") == svg(candidate_curves(found), "c")


def test_false_place_within_the_picture_is_drawn_and_one_beyond_is_told() -> None:
    best = next(each for each in small_comparison().candidates if each.kind == "contact")
    near = replace(best, false_places_mm=((35.0, 38.0),))
    far = replace(best, false_places_mm=((300.0, 340.0),))
    assert any("also made 300 to 340" in text for text in texts(candidate_curves([far])))
    assert not any("also made" in text for text in texts(candidate_curves([near])))
