"""What the routine's sensor reads along the travel, as it is shown."""

from __future__ import annotations

import numpy as np
import pytest
from liftfiles import lift_with

from homing.results import SensorView
from homing.sensorview import sensor_view
from homing.setting import Setting, prepare


@pytest.fixture(scope="module")
def view(steady_setting: Setting) -> SensorView:
    found = sensor_view(steady_setting)
    assert found is not None
    return found


def test_it_says_what_it_is(view: SensorView) -> None:
    assert (view.name, view.kind, view.quantity, view.unit) == ("bottom", "magnet", "flux density", "mT")
    assert (view.operate, view.release) == (pytest.approx(12.0), pytest.approx(7.0))  # typical of the part


def test_heights_rise_over_the_whole_travel(view: SensorView) -> None:
    assert np.all(np.diff(view.x_mm) > 0.0)
    assert view.x_mm[0] <= 0.0
    assert view.x_mm[-1] >= 640.0
    assert len(view.x_mm) == len(view.signal) == len(view.signal_low) == len(view.signal_high)


def test_the_signal_is_at_its_threshold_at_the_trip(view: SensorView) -> None:
    assert np.interp(view.trip_mm, view.x_mm, view.signal) == pytest.approx(12.0, abs=0.1)
    assert np.interp(view.release_mm, view.x_mm, view.signal) == pytest.approx(7.0, abs=0.1)
    assert view.hysteresis_mm == pytest.approx(view.release_mm - view.trip_mm)
    assert view.hysteresis_mm > 0.0


def test_heights_agree_with_what_the_runs_use(view: SensorView, steady_setting: Setting) -> None:
    assert view.trip_mm == steady_setting.trip_m * 1e3
    assert view.window_mm == (steady_setting.window_low_m * 1e3, view.trip_mm)
    assert view.trip_zone_mm == (0.0, steady_setting.zone_m[1] * 1e3)


def test_the_band_holds_the_nominal_signal_where_it_matters(view: SensorView) -> None:
    # where the signal passes its thresholds the drawn ones lie on both sides of the nominal one
    near = (view.x_mm > view.trip_mm - 3.0) & (view.x_mm < view.release_mm + 3.0)
    assert np.all(view.signal_low[near] < view.signal[near])
    assert np.all(view.signal[near] < view.signal_high[near])
    low_mm, high_mm = view.trip_band_mm
    assert low_mm < view.trip_mm < high_mm


def test_the_main_zone_is_where_it_is_made_on_the_way_in(view: SensorView) -> None:
    low_mm, high_mm = view.zones_mm[0]
    assert high_mm == pytest.approx(view.trip_mm, abs=0.1)
    assert low_mm < 5.0
    assert len(view.zones_mm) == 1  # a unipolar switch does not see the side lobes


def test_side_lobes_of_an_omnipolar_switch_are_other_places() -> None:
    # at a small gap an omnipolar switch is made again beside the main lobe
    lift = lift_with({"sensor.mount_mm": 60, "sensor.gap_mm": 1.0})
    found = sensor_view(prepare(lift))
    assert found is not None
    assert len(found.zones_mm) == 3
    main, *lobes = found.zones_mm
    assert main[0] < 60.0 < main[1]
    # on both sides of the magnet, 60 mm up
    assert sorted(low > main[1] for low, _ in lobes) == [False, True]
    assert np.all(found.signal >= 0.0)  # it answers to the size of the field


def test_sensors_never_seen_are_counted_and_told() -> None:
    given = {"sensor.switch": "unipolar", "sensor.operate_mt": 12, "sensor.release_mt": 7}
    far = {"tolerances": {"sensor.bottom.gap_mm": {"low": 2.0, "high": 25.0}}}
    found = sensor_view(prepare(lift_with({**given, **far})))
    assert found is not None
    assert 0.3 < found.never_seen_share < 0.95
    assert "short by" in found.miss


def test_none_is_never_seen_within_small_tolerances(view: SensorView) -> None:
    assert view.never_seen_share == 0.0
    assert view.miss == ""


def test_the_hard_stop_as_sensor_has_nothing_to_show() -> None:
    lift = lift_with({"sensor": [{"kind": "stall", "name": "bottom"}]})
    assert sensor_view(prepare(lift)) is None


@pytest.mark.parametrize(
    ("sensor", "quantity", "unit"),
    [
        ({"kind": "reflective", "mount_mm": 25, "target_mm": [40, 20]}, "signal", ""),
        ({"part": "distance-40-300mm", "mount_mm": -50, "threshold_v": 1.4}, "output", "V"),
        ({"kind": "contact", "mount_mm": 20}, "travel past first touch", "mm"),
    ],
)
def test_every_kind_can_be_shown(sensor: dict[str, object], quantity: str, unit: str) -> None:
    found = sensor_view(prepare(lift_with({"sensor": [{"name": "bottom", **sensor}]})))
    assert found is not None
    assert quantity in found.quantity
    assert unit in found.unit
    assert found.signal.max() >= found.operate > found.release
    assert np.interp(found.trip_mm, found.x_mm, found.signal) == pytest.approx(found.operate, rel=0.02)
