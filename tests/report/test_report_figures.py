"""Pictures: that they are made of anything a study can find, look the same each time and stay apart."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from subprocess import run as run_program
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axis import Axis
from matplotlib.text import Text
from report_fakes import NAN, fake_ensemble, fake_run, fake_sensor, fake_table, fake_verification

from homing.report.figures import all_figures, png, svg
from homing.report.figures.budget import stop_budget
from homing.report.figures.distributions import distributions
from homing.report.figures.routine import routine_diagram
from homing.report.figures.sensor import sensor_response
from homing.report.figures.timeline import timeline
from homing.results import Outcome

NAMES = ["nominal_run", "sensor_response", "stop_budget", "distributions", "worst_run", "faults", "routine"]


def _hidden(axis: Axis) -> list[Text]:
    """Labels of ticks beyond the ends of an axis, which are not drawn."""
    low, high = sorted(axis.get_view_interval())
    ticks = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
    return [
        label for tick in ticks if not low <= tick.get_loc() <= high for label in (tick.label1, tick.label2)
    ]


def test_all_pictures_in_the_order_of_the_page() -> None:
    pictures = all_figures(fake_verification(), fake_table())
    assert [picture.name for picture in pictures] == NAMES
    assert all(picture.caption.endswith(".") for picture in pictures)


def test_nothing_is_drawn_of_what_is_not_there() -> None:
    run = replace(fake_run(None, Outcome.FAULTED), stops=())
    bare = fake_verification(sensor=None, nominal=run, faults=(), worst_runs=())
    assert [picture.name for picture in all_figures(bare, None)] == ["nominal_run", "distributions"]


def test_files_are_the_same_each_time_and_settings_of_others_stay() -> None:
    before = dict(mpl.rcParams)
    first, second = (stop_budget((fake_run(),)) for _ in range(2))
    assert svg(first, "a") == svg(second, "a")
    assert png(first) == png(second)
    assert dict(mpl.rcParams) == before


def test_svg_is_well_formed_and_its_names_are_its_own() -> None:
    text = svg(sensor_response(fake_sensor()), "mine")
    root = ElementTree.fromstring(text)
    assert root.attrib["viewBox"]
    names = re.findall(r'\bid="([^"]+)"', text)
    assert names
    assert all(name.startswith("mine-") for name in names)
    used = re.findall(r'(?:href="#|url\(#)([^")]+)', text)
    assert set(used) <= set(names)


def test_sensor_which_is_never_made_is_drawn_too() -> None:
    view = replace(
        fake_sensor(),
        signal=0.3 * fake_sensor().signal,
        trip_mm=NAN,
        release_mm=NAN,
        window_mm=(NAN, NAN),
        trip_band_mm=(NAN, NAN),
        trip_zone_mm=(NAN, NAN),
        zones_mm=(),
        miss="strongest 1.9 mT, needs 3.0 mT: short by 1.1 mT",
    )
    assert png(sensor_response(view))
    assert png(timeline(fake_run(), view))


def test_window_without_a_lower_end_is_drawn() -> None:
    view = replace(fake_sensor(), window_mm=(-np.inf, 13.0), zones_mm=((-50.0, 13.0),))
    assert png(timeline(fake_run(), view))


@pytest.mark.parametrize("value", [NAN, 0.0, 3.0])
def test_ensemble_of_equal_or_missing_values(value: float) -> None:
    metrics = {"overtravel_mm": np.full(10, value), "zero_error_mm": np.full(10, value)}
    ensemble = replace(fake_ensemble(10 + 8), metrics=metrics, outcome=np.zeros(10, np.int8))
    assert png(distributions(fake_verification(ensemble=ensemble)))


def test_diagram_holds_every_phase_and_way() -> None:
    table = fake_table()
    texts = [text.get_text() for text in routine_diagram(table).axes[0].texts]
    assert {phase.name.replace("_", " ") for phase in table.phases} <= set(texts)
    listed = " ".join(texts)
    assert "→ lifting: steady clear, unless referenced" in listed
    assert "gives up: time out, travel guard, not moving, wrong way" in listed


def test_no_text_leaves_its_picture() -> None:
    for picture in all_figures(fake_verification(), fake_table()):
        made = picture.figure
        png(made)
        made.draw_without_rendering()
        shown = [text for text in made.findobj(Text) if text.get_visible() and text.get_text()]
        ticks = {label for axes in made.axes for axis in (axes.xaxis, axes.yaxis) for label in _hidden(axis)}
        for text in shown:
            box = text.get_window_extent()
            inside = made.bbox.x0 - 1 <= box.x0 and box.x1 <= made.bbox.x1 + 1
            assert inside or text in ticks, (picture.name, text.get_text())


def test_no_window_is_needed() -> None:
    code = "import sys, homing.report.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert run_program([sys.executable, "-c", code], check=False).returncode == 0
